"""TOML text -> Catalogue, or every mistake in it at once (CONTRACT section 4)."""

from collections.abc import Callable, Container, Mapping
from types import MappingProxyType

from adapters.port import Origin
from gateway.catalogue.calling.addresses import split_url
from gateway.catalogue.calling.templates import parse_template
from gateway.catalogue.document.mistakes import CatalogueFaults, TextFault
from gateway.catalogue.document.parsing import Parsed, parse
from gateway.catalogue.model import Catalogue, Place, Source, protocol
from gateway.catalogue.schema.gateway_table import read_gateway
from gateway.catalogue.schema.listeners import read_listeners
from gateway.catalogue.schema.phones import read_phones
from gateway.catalogue.schema.places import read_places
from gateway.catalogue.schema.profiles import read_profiles
from gateway.catalogue.schema.report import Report
from gateway.catalogue.schema.reserved import read_reserved
from gateway.catalogue.schema.rights import read_rights
from gateway.catalogue.schema.source.sources import read_sources
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.charsets import Charsets
from gateway.catalogue.schema.values.secrets import Secrets


def load_catalogue(
    text: str,
    filename: str,
    read_secret: Callable[[str], str | None],
    check_ca: Callable[[str], str | None] | None = None,
    schemes: Container[str] | None = None,
    *,
    check_folder: Callable[[str], str | None] | None = None,
    read_table: Callable[[str], str | None] = lambda _: None,
) -> Catalogue:
    """The catalogue that `text` means, or CatalogueFaults with all its mistakes.

    `filename` is only for messages and for `Catalogue.watched`. `read_secret` is given `env:NAME`,
    `file:PATH` or `credential:NAME` and gives the secret, or None where there is none; line ends after it do
    not count; OpenToOthers where others may change its file.
    `check_ca` is given each certificate file's path as written and gives None where it can be used, or why
    not in words that follow "which": "is not there". `schemes` are those that have an adapter; a known
    scheme that is not among them is a mistake. `check_folder` is given a `file` base, a URL that ends in a
    slash, and answers as `check_ca` does. Without these three, nothing of that is checked. `read_table` is
    given the path of a charset's mapping file as written and gives its text, or None where there is none. A
    byte order mark and CR LF line ends are taken as they come.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    parsed = parse(text)
    report = Report(
        text, parsed, read_secret, check_ca, schemes, check_folder=check_folder, read_table=read_table
    )
    catalogue = read_document(parsed, report, filename)
    if report.mistakes:
        raise CatalogueFaults(report.mistakes, report.shown_text, filename)
    return catalogue


def read_document(parsed: Parsed, report: Report, filename: str) -> Catalogue:
    """What could be parsed, checked; it is only to be used where `report` has no mistakes."""
    if not parsed.whole:
        return Catalogue()
    top = Table(report, "", (), parsed.document)
    secrets = Secrets()
    gateway = read_gateway(top)
    charsets = Charsets()
    profiles = read_profiles(top, charsets)
    reserved = read_reserved(top)
    found = read_places(top, secrets)
    sources = read_sources(top, found, secrets, gateway.letters)
    rights = read_rights(top)
    listeners = read_listeners(top, profiles, reserved, rights)
    places = {name: place for name, place in found.items() if place is not None}
    return Catalogue(
        gateway=gateway,
        listeners=listeners,
        places=MappingProxyType(places),
        sources=MappingProxyType(sources),
        phones=MappingProxyType(read_phones(top, found)),
        reserved=MappingProxyType(reserved),
        profiles=MappingProxyType(profiles),
        rights=MappingProxyType(rights),
        tables=MappingProxyType(charsets.tables),
        secrets=MappingProxyType(secrets.values),
        filename=filename,
        origins=_origins(places, sources),
    )


def _origins(places: Mapping[str, Place], sources: Mapping[str, Source]) -> Mapping[str, frozenset[Origin]]:
    """Hosts and ports of all places and of all sources whose host is written out, by what is spoken there."""
    urls = [split_url(place.base) for place in places.values()]
    for source in sources.values():
        if source.url.partition(":")[0].upper() in places:
            continue
        try:
            template = parse_template(source.url)
            start = "".join(each for each in template.parts[:1] if isinstance(each, str))
            if not template.host:
                urls.append(split_url(start))
        except TextFault:  # reported where the source was read
            continue
    origins: dict[str, set[Origin]] = {}
    for url in urls:
        if url.origin is not None:
            origins.setdefault(protocol(url.scheme), set()).add(url.origin)
    return MappingProxyType({spoken: frozenset(each) for spoken, each in origins.items()})
