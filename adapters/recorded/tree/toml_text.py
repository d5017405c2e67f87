"""Exchange -> the text of its TOML file, and back; bodies are files beside it, named in it.

A name of a far folder may be any bytes: it is written as UTF-8 where it is that, every other byte, and the
per cent sign, as %hh (RFC 3986 section 2.1). What an edited file has wrong is told all at once.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC
from typing import Any, Final, TypeAlias
from urllib.parse import quote_from_bytes, unquote_to_bytes

import tomli_w

from adapters.errors import HeadraceError
from adapters.files import Digest, Entry, Kind, Listing, Stat, Written
from adapters.port import Validators
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Message, Reply, Told
from adapters.recorded.tree.table import Table, TextFault, toml_values

_PLAIN: Final = "".join(chr(code) for code in range(0x20, 0x7F) if chr(code) != "%")
_KINDS: Final = {"file": Kind.FILE, "folder": Kind.FOLDER, "link": Kind.LINK}
_ABSOLUTE: Final = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")  # RFC 3986 section 3, with an authority
_METHOD: Final = re.compile(r"[!#$%&'*+.^_`|~0-9A-Z-]+")  # RFC 9110 section 5.6.2
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f]")
_NEEDED: Final = {
    "LIST": ("listing",),
    "STAT": ("stat",),
    "READ": ("stat", "body"),
    "WRITE": ("written",),
    "APPEND": ("written",),
    "COPY": ("written",),
}
"""What an [answer] has to have."""
_KIND_WORDS: Final = {kind: word for word, kind in _KINDS.items()}


@dataclass(frozen=True, slots=True)
class Files:
    """Where the bodies are, by file names: of the request (or its text), and of the reply."""

    asked: str = ""
    text: str | None = None
    reply: str = ""


# Writing


def written(exchange: Exchange, files: Files) -> str:
    """The TOML text."""
    asked = exchange.asked
    request: dict[str, Any] = {"for": asked.request} if asked.request else {}
    request |= {"method": asked.method, "url": asked.url}
    if asked.to:
        request["to"] = asked.to
    if asked.method == "READ":
        request["offset"] = asked.offset
        if asked.count is not None:
            request["count"] = asked.count
    if asked.headers:
        request["headers"] = [f"{name}: {value}" for name, value in asked.headers]
    if asked.body is not None:
        request |= {"text": files.text} if files.text is not None else {"body": files.asked}
    document: dict[str, Any] = {"at": exchange.at, "took": exchange.took}
    if exchange.times != 1:
        document["times"] = exchange.times
    document["request"] = request
    document |= _reply(exchange.reply, files)
    return tomli_w.dumps(document, multiline_strings=False)


def _reply(reply: Reply, files: Files) -> dict[str, Any]:
    if isinstance(reply, Failure):
        return {"failure": _failure(reply)}
    if isinstance(reply, Message):
        message: dict[str, Any] = {"status": reply.status}
        message["headers"] = [f"{name}: {value}" for name, value in reply.headers]
        if reply.content is not None:
            message["body"] = files.reply
        if reply.squeezed:
            message["squeezed"] = True
        return {
            "response": message
            | _some(length=reply.length, failure=reply.failure and _failure(reply.failure))
        }
    return {"answer": _told(reply, files)}


def _told(told: Told, files: Files) -> dict[str, Any]:
    answer: dict[str, Any] = {}
    if told.content is not None:
        answer["body"] = files.reply
    answer |= _some(offset=told.offset or None, size=told.size)
    if told.digest is not None:
        answer["digest"] = {"algorithm": told.digest.algorithm, "digits": told.digest.digits}
    if told.written is not None:
        answer["written"] = _some(size=told.written.size) | {"checked": told.written.checked}
    if told.stat is not None:
        answer["stat"] = _stat(told.stat)
    if told.failure is not None:
        answer["failure"] = _failure(told.failure)
    if told.listing is not None:
        listing = told.listing
        answer["listing"] = {"partial": listing.partial} if listing.partial else {}
        answer["listing"] |= {key: text for key in ("url", "origin") if (text := getattr(listing, key))}
        answer["listing"]["entry"] = [_entry(entry) for entry in listing.entries]
    return answer


def _entry(entry: Entry) -> dict[str, Any]:
    fixed = {"name": name_text(entry.name), "kind": _KIND_WORDS[entry.kind]}
    return fixed | _some(size=entry.size, modified=entry.modified, url=entry.url)


def _stat(stat: Stat) -> dict[str, Any]:
    table: dict[str, Any] = {"kind": _KIND_WORDS[stat.kind]}
    table |= _some(size=stat.size, modified=stat.modified, charset=stat.charset)
    table |= _some(etag=stat.validators.etag, last_modified=stat.validators.last_modified)
    return table | {key: text for key in ("media_type", "origin") if (text := getattr(stat, key))}


def _failure(failure: Failure) -> dict[str, Any]:
    table: dict[str, Any] = {"error": failure.name, "sentence": failure.sentence}
    table |= _some(seconds=failure.seconds, far=failure.far or None)
    return table | ({"sent": True} if failure.sent else {})


def _some(**values: Any) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value is not None}


def name_text(name: bytes) -> str:
    """A name as it stands in the file."""
    try:
        text = name.decode("utf-8")
    except UnicodeDecodeError:
        return quote_from_bytes(name, _PLAIN)
    return "".join(
        each if each != "%" and each.isprintable() else quote_from_bytes(each.encode(), "") for each in text
    )


# Reading


def read(text: str, content: Callable[[str], Content | None]) -> Exchange:
    """The exchange. `content` finds a body by its file's name, None where there is none. TextFault."""
    mistakes: list[str] = []
    top = Table(toml_values(text), "", mistakes)

    def body(table: Table) -> Content | None:
        name = table.maybe("body")
        found = None if name is None else content(name)
        if name is not None and found is None:
            table.wrong("body", f"there is no file {name!r} beside it")
        return found

    at, took, times = top.time("at"), top.seconds("took"), top.number("times", 1)
    request = top.table("request")
    replies = [(key, top.table(key)) for key in ("response", "answer", "failure")]
    for key in ("at", "request"):
        if not top.has(key):
            top.wrong(key, "missing")
    if sum(top.has(key) for key, _ in replies) != 1:
        top.wrong("response", "one of [response], [answer] and [failure] is needed")
    top.over()
    asked = None if request is None else _read_asked(request, body)
    method = "" if asked is None else asked.method
    reply = next((_read_reply(key, table, method, body) for key, table in replies if table is not None), None)
    if mistakes or at is None or asked is None or reply is None:
        raise TextFault(mistakes)
    return Exchange(asked, reply, at.astimezone(UTC), took, times or 1)


_Body: TypeAlias = Callable[[Table], Content | None]


def _read_asked(table: Table, body: _Body) -> Asked:
    text, file = table.maybe("text"), body(table)
    if text is not None and table.has("body"):
        table.wrong("text", "there is a body already")
    asked = Asked(
        method=table.needed("method").upper(),
        url=table.needed("url"),
        headers=table.headers(),
        body=file if text is None else Content(text.encode()),
        to=table.text("to"),
        offset=table.number("offset") or 0,
        count=table.number("count"),
        request=table.text("for"),
    )
    if asked.method and _METHOD.fullmatch(asked.method) is None:
        table.wrong("method", "no name of a method")
    for key, url in (("url", asked.url), ("to", asked.to)):
        if url and _ABSOLUTE.match(url) is None:
            table.wrong(key, "not an absolute URL")
        elif _CONTROL.search(url) is not None:
            table.wrong(key, "a control character in a URL")
    table.over()
    return asked


def _read_reply(key: str, table: Table, method: str, body: _Body) -> Reply:
    if key == "failure":
        return _read_failure(table)
    return _read_message(table, body) if key == "response" else _read_told(table, method, body)


def _read_message(table: Table, body: _Body) -> Message:
    if not table.has("status"):
        table.wrong("status", "missing")
    broken = table.table("failure")
    message = Message(
        status=table.number("status", 100, 999) or 0,
        headers=table.headers(),
        content=body(table),
        squeezed=table.flag("squeezed"),
        length=table.number("length"),
        failure=None if broken is None else _read_failure(broken),
    )
    table.over()
    return message


def _read_told(table: Table, method: str, body: _Body) -> Told:
    listing, stat, outcome, digest, broken = (
        table.table(key) for key in ("listing", "stat", "written", "digest", "failure")
    )
    told = Told(
        listing=None if listing is None else _read_listing(listing),
        stat=None if stat is None else _read_stat(stat),
        content=body(table),
        offset=table.number("offset") or 0,
        size=table.number("size"),
        digest=None if digest is None else Digest(digest.needed("algorithm"), digest.needed("digits")),
        written=None if outcome is None else Written(outcome.number("size"), outcome.text("checked")),
        failure=None if broken is None else _read_failure(broken),
    )
    for key in _NEEDED.get(method, ()):
        if not table.has(key):
            table.wrong(key, f"missing: it is what {method} gives")
    for each in (table, outcome, digest):
        if each is not None:
            each.over()
    return told


def _read_listing(table: Table) -> Listing:
    entries = tuple(_read_entry(each) for each in table.tables("entry"))
    listing = Listing(entries, table.flag("partial"), table.text("url"), table.text("origin"))
    table.over()
    return listing


def _read_kind(table: Table) -> Kind:
    word = table.needed("kind")
    if word and word not in _KINDS:
        table.wrong("kind", f"none of {', '.join(_KINDS)}")
    return _KINDS.get(word, Kind.FILE)


def _read_entry(table: Table) -> Entry:
    name = unquote_to_bytes(table.needed("name"))
    if b"/" in name or name in (b".", b".."):
        table.wrong("name", "not the name of one entry")
    entry = Entry(name, _read_kind(table), table.number("size"), table.time("modified"), table.maybe("url"))
    table.over()
    return entry


def _read_stat(table: Table) -> Stat:
    stat = Stat(
        kind=_read_kind(table),
        size=table.number("size"),
        modified=table.time("modified"),
        validators=Validators(table.maybe("etag"), table.maybe("last_modified")),
        media_type=table.text("media_type"),
        charset=table.maybe("charset"),
        origin=table.text("origin"),
    )
    table.over()
    return stat


def _read_failure(table: Table) -> Failure:
    name = table.needed("error")
    if name and name not in ERRORS:
        table.wrong("error", "none of the gateway's errors")
    failure = Failure(
        name, table.text("sentence"), table.number("seconds"), table.text("far"), table.flag("sent")
    )
    table.over()
    return failure


def _classes(root: type[HeadraceError]) -> dict[str, type[HeadraceError]]:
    found = {root.__name__: root}
    for each in root.__subclasses__():
        found |= _classes(each)
    return found


ERRORS: Final = _classes(HeadraceError)
"""The errors that a recording may hold, by their names."""
