"""[place.NAME] -> Place."""

import posixpath
import urllib.parse

from gateway.catalogue.calling.addresses import Url, split_url
from gateway.catalogue.document.mistakes import TextFault
from gateway.catalogue.model import STREAMS, LineEnd, Place
from gateway.catalogue.schema.names import named_tables
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table
from gateway.catalogue.schema.values.certificates import read_ca
from gateway.catalogue.schema.values.encodings import read_encoding, without_raw
from gateway.catalogue.schema.values.secrets import Secrets

_FOLDER = "file:///path for a folder of this computer"
_PAGES = frozenset({"http", "https"})


def read_places(top: Table, secrets: Secrets) -> dict[str, Place | None]:
    """All places by name in upper case; None where one has mistakes that leave it without a base."""
    places: dict[str, Place | None] = {}
    for name, path, values in named_tables(top, "place"):
        table = Table(top.report, "place", path, values)
        base = _base(table)
        user, secret = table.text("user"), secrets.read(table)
        if "secret" in table and table.lacks("user"):
            top.report.at_key(table.at("secret"), "a secret without a user", 'user = "..." beside it')
        _nobody_there(table)
        write, ca = table.flag("write") or False, read_ca(table)
        index, lines = _index(table, base), table.member("lines", LineEnd)
        charset, raw = _stream(table, base)
        if base is None:
            places[name] = None
            continue
        places[name] = Place(name, base, user, secret, write, ca, index, lines, charset, raw)
    return places


def _stream(table: Table, base: str | None) -> tuple[str, bool]:
    """The charset, and whether it is raw; both only with a stream."""
    scheme = "" if base is None else base.partition(":")[0]
    charset, raw = read_encoding(table), table.flag("raw") or False
    for key in ("charset", "raw"):
        if key in table and base is not None and scheme not in STREAMS:
            found = f"{key}, with a base of {scheme}"
            table.report.at_key(table.at(key), found, f"{key} only with {' '.join(STREAMS)}")
    without_raw(table, raw=raw)
    if raw and scheme == "udp":
        table.report.at_key(table.at("raw"), "raw, with udp", "udp without raw: a line is a datagram")
    return charset, raw


def _index(table: Table, base: str | None) -> str:
    """ "html" or nothing; only a web server has index pages."""
    index = table.word("index") or ""
    if index and base is not None and base.partition(":")[0] not in _PAGES:
        scheme = base.partition(":")[0]
        found = f"index, with {'an' if scheme.startswith('ftp') else 'a'} {scheme} base"
        table.report.at_key(table.at("index"), found, "index only with a base of http or https")
    return index


def _nobody_there(table: Table) -> None:
    """A folder of this computer is entered by nobody's name and shows no certificate; on a stream the client
    itself says who it is.
    """
    scheme = str(table.raw("base")).lower().partition(":")[0]
    for key in ("user", "secret", "ca"):
        if key in table and scheme == "file":
            table.report.at_key(table.at(key), f"{key}, with a file base", f"{key} only with a far server")
        elif key in table and key != "ca" and scheme in STREAMS:
            allowed = f"no {key} on a stream: who calls types it"
            table.report.at_key(table.at(key), f"{key}, with a base of {scheme}", allowed)


def _base(table: Table) -> str | None:
    """The base as a URL; where its paths are names, with its dots resolved and a slash at its end."""
    text = table.text("base")
    if text is None:
        return None
    if "://" not in text:
        table.report.inside(table.at("base"), _no_url(text))
        return None
    try:
        url = split_url(text)
        later = table.report.scheme_fault(url.scheme)
        if later is not None:
            raise later
        base = _checked(text, url)
    except TextFault as fault:
        table.report.inside(table.at("base"), fault)
        return None
    check = table.report.check_folder
    reason = check(base) if check is not None and url.scheme == "file" else None
    if reason is not None:
        table.wrong("base", f"{shown(text)}, which {reason}", allowed=_FOLDER)
        return None
    return base


def _no_url(text: str) -> TextFault:
    """What is told of a path, or of a file's URL in the short form of RFC 8089 appendix B."""
    try:
        split_url(text)
    except TextFault as fault:
        path = text.partition(":")[2] if text[:5].lower() == "file:" else text
        near = f"file://{path}" if path.startswith("/") else fault.near
        return TextFault(fault.found, 0, len(text), f"{fault.allowed}, or {_FOLDER}", near)
    raise AssertionError(text)  # pragma: no cover — no URL is without ://


def _checked(text: str, url: Url) -> str:
    for mark, what in (("?", "a query"), ("#", "a fragment")):
        if mark in url.rest:
            start = text.index(mark)
            raise TextFault(f"{what} in a base", start, len(text) - start, "scheme://host/path/")
    if url.scheme in STREAMS:
        if url.rest not in {"", "/"}:
            start = text.index("/", text.index("//") + 2)
            raise TextFault("a path", start, len(text) - start, f"{url.scheme}://host:port")
        return Url(url.scheme, url.host, url.port, "").text
    if any(urllib.parse.unquote(each) in {".", ".."} for each in url.rest.split("/")):
        near = Url(
            url.scheme, url.host, url.port, posixpath.normpath(urllib.parse.unquote(url.rest)) + "/"
        ).text
        start = text.index("/", text.index("//") + 2)
        raise TextFault("dots in a base", start, len(text) - start, "a path without . and ..", near)
    return Url(url.scheme, url.host, url.port, url.rest if url.rest.endswith("/") else url.rest + "/").text
