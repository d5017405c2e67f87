"""[source.NAME] -> Source."""

import itertools
import re
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError
from gateway.catalogue.calling.addresses import split_url
from gateway.catalogue.calling.refs import within
from gateway.catalogue.calling.templates import Template, expand, parse_template
from gateway.catalogue.document.mistakes import TextFault, nearest
from gateway.catalogue.document.positions import Path
from gateway.catalogue.keys.key import SCHEMES
from gateway.catalogue.model import STREAMS, Arg, ArgKind, Place, Source
from gateway.catalogue.schema.names import named_tables
from gateway.catalogue.schema.report import Report, shown
from gateway.catalogue.schema.source.args import all_args_read, read_args
from gateway.catalogue.schema.source.auth import read_auth
from gateway.catalogue.schema.source.bodies import read_body
from gateway.catalogue.schema.source.fields import at_texts, check_fields, read_field
from gateway.catalogue.schema.source.headers import read_headers
from gateway.catalogue.schema.source.paths import PathReader
from gateway.catalogue.schema.source.slot_check import SlotCheck
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.certificates import read_ca
from gateway.catalogue.schema.values.secrets import Secrets
from gateway.extract.plan import Format, Plan

_NCNAME: Final = re.compile(r"[A-Za-z_][\w.-]*")
_MARKUP: Final = frozenset({Format.AUTO, Format.XML})

_NO_DOCUMENTS: Final = "a stream, which has no documents"
_DOCUMENTS: Final = "a place or URL with documents; TALK opens a stream"


def read_sources(
    top: Table, places: Mapping[str, Place | None], secrets: Secrets, letters: Mapping[str, str]
) -> dict[str, Source]:
    """All sources by name in upper case. One with mistakes in it may be left out."""
    sources: dict[str, Source] = {}
    for name, path, values in named_tables(top, "source"):
        source = _Reader(top.report, path, values, places).read(name, secrets, letters)
        if source is not None:
            sources[name] = source
    return sources


class _Reader:
    """One source while it is read."""

    def __init__(
        self, report: Report, path: Path, values: Mapping[str, object], places: Mapping[str, Place | None]
    ) -> None:
        self._report = report
        self._table = Table(report, "source", path, values)
        self._intact = report.intact(path)
        self._places = places

    def read(self, name: str, secrets: Secrets, letters: Mapping[str, str]) -> Source | None:
        table = self._table
        args = read_args(table)
        check = SlotCheck(self._report, tuple(args), certain=all_args_read(table, args))
        url = self._url({key: arg for key, (_, arg) in args.items()}, check)
        headers = read_headers(table, check)
        body = read_body(table, check, headers)
        method = self._method()
        keep, stale = table.seconds("keep"), table.seconds("stale")
        plan = self._plan(letters)
        if url is not None and table.settled("headers", "body") and (body is None) == ("body" not in table):
            self._check_unused({key: path for key, (path, _) in args.items()}, check)
        about, auth, ca = table.text("about", empty=True), read_auth(table, secrets), read_ca(table)
        if url is None or plan is None:
            return None
        return Source(
            name=name,
            url=url,
            plan=plan,
            about=about or "",
            args=tuple(arg for _, arg in args.values()),
            method=method,
            headers=headers,
            body=body,
            keep=None if keep is None else float(keep),
            stale=None if stale is None else float(stale),
            auth=auth,
            ca=ca,
        )

    def _check_unused(self, args: Mapping[str, Path], check: SlotCheck) -> None:
        for name, path in args.items():
            # A slot that is this arg misspelt has been reported already.
            if name not in check.used and not nearest(name, check.used - set(args)):
                allowed = f"{{{name}}} in url, headers or body"
                self._report.at_value(path, f"{name}, which is used nowhere", allowed)

    def _method(self) -> str:
        table = self._table
        method = table.word("method")
        if method is None and "method" in table:
            return "GET"
        if method in {None, "GET"}:
            if "body" in table and table.settled("method"):
                table.report.at_key(
                    table.at("body"), "a body with GET", "method = POST, PUT, PATCH or DELETE", "POST"
                )
            return "GET"
        for key in ("keep", "stale"):
            if key in table:
                found = f"{key} with {method}, which changes something and is never kept"
                table.report.at_key(table.at(key), found, f"{key} with GET only")
        return method or "GET"

    def _url(self, args: Mapping[str, Arg], check: SlotCheck) -> str | None:
        """The URL template, or the place and path template, after every check that needs no client."""
        text = self._table.text("url")
        if text is None:
            return None
        path = self._table.at("url")
        place, colon, rest = text.partition(":")
        in_place = bool(colon) and place.lower() not in SCHEMES and "{" not in place
        in_place = in_place and (place.upper() in self._places or not rest.startswith("//"))
        offset = len(place) + 1 if in_place else 0
        try:
            if in_place:
                self._check_place(place)
            template = parse_template(text[offset:])
            for variable in template.variables:
                check.name(path, variable.name, offset + variable.start)
            if in_place:
                self._check_in_place(place, template, args)
            else:
                self._check_host(template, args)
        except TextFault as fault:
            fault.start += offset if fault.start or fault.length < len(text) else 0
            self._report.inside(path, fault)
            return None
        return text

    def _check_place(self, name: str) -> None:
        if name.upper() not in self._places and self._report.intact(("place",)):
            known = " ".join(sorted(each.lower() for each in self._places)) or "this file has no places"
            near = nearest(name, self._places).lower()
            fault = TextFault(
                f"{shown(name)}, which is no place", 0, len(name), f"a URL, or place:path; {known}", near
            )
            self._report.inside(self._table.at("url"), fault)

    def _check_in_place(self, name: str, template: Template, args: Mapping[str, Arg]) -> None:
        place = self._places.get(name.upper())
        if place is not None and place.is_stream:
            raise TextFault(_NO_DOCUMENTS, 0, len(template.text), _DOCUMENTS)
        try:
            within(
                place.base if place is not None else "http://place.invalid/", expand(template, _samples(args))
            )
        except HeadraceError as error:
            raise TextFault(error.sentence, 0, len(template.text), "a path inside the place") from error

    def _check_host(self, template: Template, args: Mapping[str, Arg]) -> None:
        for variable in template.variables:
            known = args.get(variable.name)
            open_host = variable.name in template.host and self._table.settled("choices")
            if open_host and known is not None and not known.choices:
                allowed = f"choices for {variable.name}, so that only named hosts can be asked"
                raise TextFault(
                    "an arg that can change the host", variable.start, len(variable.name), allowed
                )
        hosts = [name for name in template.host if name in args]
        choices = [tuple(args[name].choices.values()) for name in sorted(hosts)]
        for chosen in itertools.islice(itertools.product(*choices), limits.HOST_CHOICES):
            url = expand(template, {**_samples(args), **dict(zip(sorted(hosts), chosen, strict=True))})
            try:
                parts = split_url(url)
                later = self._report.scheme_fault(parts.scheme) or _stream_fault(parts.scheme)
                if later is not None:
                    raise later
            except TextFault as fault:
                first = next((each.start - 1 for each in template.variables), len(template.text))
                if fault.start + fault.length > first:
                    raise TextFault(fault.found, 0, len(template.text), fault.allowed, fault.near) from fault
                raise
            if "#" in parts.rest:
                start = max(0, template.text.find("#"))
                raise TextFault(
                    "a fragment, which is never sent", start, len(template.text), "a URL without it"
                )

    def _plan(self, letters: Mapping[str, str]) -> Plan | None:
        table = self._table
        format_ = table.member("format", Format)
        namespaces = self._namespaces(format_)
        field_tables = list(table.tables("field"))
        texts = [text for _, values in field_tables for text in at_texts(values)]
        rows = table.text("rows")
        if rows is not None:
            texts.append(rows)
        written = table.raw("namespaces")
        whole = isinstance(written, dict) and len(written) == len(namespaces)
        known = namespaces if whole or table.lacks("namespaces") else None
        reader = PathReader(self._report, format_ or Format.AUTO, known, texts, rows="rows" in table)
        if rows is not None and format_ is Format.CSV:
            self._report.at_key(table.at("rows"), "rows in a csv source", "no rows: every line is one")
            rows = None
        rows_path = None if rows is None else reader.read(table.at("rows"), rows)
        fields = [read_field(self._report, path, values, reader) for path, values in field_tables]
        gap = table.integer("gap")
        gap = 1 if gap is None else gap
        check_fields(self._report, fields, gap, intact=self._intact)
        if table.raw("field") == []:
            table.report.at_value(table.at("field"), "no field", "at least one [[source.NAME.field]]")
        sort = self._sort([each.get("name") for _, each in field_tables])
        descending = table.flag("descending")
        if descending and table.lacks("sort"):
            table.report.at_key(
                table.at("descending"), "descending without sort", "sort = a field's name beside it"
            )
        distinct, limit = table.flag("distinct"), table.integer("limit")
        read = tuple(each.field for each in fields if each.field is not None)
        if not read:
            return None
        plan = Plan(read, format_ or Format.AUTO, rows_path, MappingProxyType(namespaces), letters=letters)
        return replace(
            plan,
            distinct=distinct or False,
            sort=sort,
            descending=descending or False,
            limit=limit,
            gap=gap,
        )

    def _sort(self, fields: list[object]) -> str | None:
        """The field to sort by; `fields` are their names as the file has them, right or wrong."""
        text = self._table.text("sort")
        if text is None:
            return None
        names = [each for each in fields if isinstance(each, str)]
        for name in names:
            if name.casefold() == text.casefold():
                return name
        if self._intact and names and len(names) == len(fields):
            self._table.wrong(
                "sort", f"{shown(text)}, which is no field", nearest(text, names), " ".join(names)
            )
        return None

    def _namespaces(self, format_: Format | None) -> dict[str, str]:
        table = self._table
        if "namespaces" in table and format_ is not None and format_ not in _MARKUP:
            found = f"namespaces in a source of format {format_.value}"
            table.report.at_key(table.at("namespaces"), found, "format xml")
        namespaces: dict[str, str] = {}
        for path, prefix, uri in table.text_table("namespaces"):
            if not _NCNAME.fullmatch(prefix) or prefix.lower().startswith("xml"):
                table.report.at_key(
                    path, f"the prefix {shown(prefix)}", "letters, digits, - _ . and not first xml"
                )
            elif not uri:
                table.report.at_value(path, "an empty text", "a namespace's URI")
            else:
                namespaces[prefix] = uri
        return namespaces


def _samples(args: Mapping[str, Arg]) -> dict[str, str]:
    """A harmless value for each arg."""
    return {
        name: next(iter(arg.choices.values()), "x" if arg.kind is ArgKind.TEXT else "1")
        for name, arg in args.items()
    }


def _stream_fault(scheme: str) -> TextFault | None:
    return TextFault(_NO_DOCUMENTS, 0, len(scheme), _DOCUMENTS) if scheme in STREAMS else None
