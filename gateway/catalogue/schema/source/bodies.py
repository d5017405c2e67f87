"""body and send of a source -> Body, every text of it checked for its kind."""

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, cast

from lxml import etree

from gateway.catalogue.calling.slots import slots
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.document.positions import Path
from gateway.catalogue.model import Body, BodyValue, FormBody, JsonBody, LinesBody, Number, TextBody
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.source.slot_check import SlotCheck
from gateway.catalogue.schema.table import Table

_UNESCAPED: Final = re.compile(r"<!\[CDATA\[.*?\]\]>|<!--.*?-->|<\?.*?\?>|<!DOCTYPE[^>]*>", re.DOTALL)
_ENCODING: Final = re.compile(r"<\?xml[^>]*?encoding\s*=\s*[\"']([^\"']*)[\"']")
_NO_NAME: Final = "\u3000"  # XML takes it in text and in values, and nowhere else


def read_body(table: Table, check: SlotCheck, headers: tuple[tuple[str, str], ...]) -> Body | None:
    """What the source sends, or None. `headers` may name the kind of a text."""
    value = table.mixed("body")
    send = table.word("send")
    if "send" in table and (isinstance(value, str) or table.lacks("body")):
        table.report.at_key(
            table.at("send"), "send without a body that is a table", "body = { ... } beside it"
        )
    if isinstance(value, dict):
        return _read_table(table, check, value, form=send == "form")
    if value == "lines":
        return LinesBody()
    if isinstance(value, str):
        return _read_text(table, check, value, dict(headers))
    if value is not None:
        table.wrong("body", shown(value))
    return None


def _read_table(table: Table, check: SlotCheck, values: Mapping[str, object], *, form: bool) -> Body:
    for name, value in values.items():
        path = (*table.at("body"), name)
        if form and isinstance(value, dict):
            table.report.at_value(
                path, "a table in a form", "a text, a number, true, false, or a list of them"
            )
        elif form and isinstance(value, list):
            for index, each in enumerate(value):
                if isinstance(each, dict | list):
                    found = f"{shown(each)} in a list of a form"
                    table.report.at_value((*path, index), found, "a text, a number, true or false")
                else:
                    _check_value(table, check, (*path, index), each)
        else:
            _check_value(table, check, path, value)
    checked = cast("Mapping[str, BodyValue]", MappingProxyType(dict(values)))
    return FormBody(checked) if form else JsonBody(checked)


def _check_value(table: Table, check: SlotCheck, path: Path, value: object) -> None:
    if isinstance(value, str):
        check.text(path, value)
    elif isinstance(value, dict):
        for name, each in value.items():
            _check_value(table, check, (*path, name), each)
    elif isinstance(value, list):
        for index, each in enumerate(value):
            _check_value(table, check, (*path, index), each)
    elif isinstance(value, Number):
        if not re.search(r"\d", value.text):
            table.report.at_value(path, value.text, "a number that JSON has (RFC 8259 section 6)")
    elif not isinstance(value, bool | int):
        allowed = "a text, a number, true, false, a list or a table"
        table.report.at_value(path, f"the date or time {shown(value)}", allowed, f'"{shown(value)}"')


def _read_text(table: Table, check: SlotCheck, text: str, headers: Mapping[str, str]) -> Body | None:
    path = table.at("body")
    check.text(path, text)
    kind = next((value.lower() for name, value in headers.items() if name.lower() == "content-type"), "")
    if "json" in kind:
        table.wrong("body", "JSON as a text", allowed="a table, so that args are escaped for JSON")
        return None
    xml = "xml" in kind if kind else text.lstrip().startswith("<")
    if xml:
        try:
            _check_xml(text)
        except TextFault as fault:
            table.report.inside(path, fault)
    return TextBody(text, xml)


def _check_xml(text: str) -> None:
    """Well-formed, in UTF-8, and with args only where an escaped one is safe: in text and in values."""
    declared = _ENCODING.search(text)
    if declared is not None and declared[1].lower() not in {"utf-8", "us-ascii"}:
        allowed = 'encoding="UTF-8", which is what is sent'
        raise TextFault(f"the encoding {declared[1]}", declared.start(1), len(declared[1]), allowed, "UTF-8")
    for section in _UNESCAPED.finditer(text):
        for slot in slots(section.group()):
            start = section.start() + slot.start
            raise TextFault(
                "an arg where nothing is escaped", start, len(slot.name), "args in text and in values"
            )
    filled = text
    for slot in slots(text):
        start, end = slot.start - 1, slot.start + len(slot.name) + 1
        filled = filled[:start] + _NO_NAME * (end - start) + filled[end:]
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        etree.fromstring(filled.encode(), parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        lines = text.split("\n")
        start = sum(len(each) + 1 for each in lines[: line - 1]) + max(0, column - 1)
        start = min(start, max(0, len(text) - 1))
        raise TextFault(
            "XML that is not well-formed here", start, 1, "well-formed XML, args in text and values"
        ) from error
