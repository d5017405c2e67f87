"""A WARC file (ISO 28500, 1.0 and 1.1) of any tool -> exchanges.

The file is read twice: first which records belong together, then what is in them. A `revisit` has the body of
the answer that it refers to, or is a 304. A metadata record of this gateway's own says all that there is to
know. A `resource` over HTTP is an answer without headers, and over another protocol a document that was read.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from warcio.bufferedreaders import ChunkedDataReader

from adapters import limits
from adapters.files import Kind, Stat
from adapters.recorded.exchange import Asked, Content, Exchange, Headers, Message, Reply, Told
from adapters.recorded.tree.table import TextFault
from adapters.recorded.tree.toml_text import read as read_toml
from gateway.archives.messages import Store, TooMuch, message
from gateway.archives.outcome import LeftOut
from gateway.archives.warc.index import ANSWERS, Group, Seen, indexed, keys_of, records

_WEB: Final = re.compile(r"https?://", re.IGNORECASE)
_PLACED: Final = re.compile(r"(?:ftps?|davs?|file)://", re.IGNORECASE)
_STATUS: Final = re.compile(r"[1-5][0-9]{2}")
_DATE: Final = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2})(\.[0-9]{1,9})?Z")


@dataclass(slots=True)
class _Parts:
    """What has been read of a group. `bodies` are by the ids of their records."""

    asked: Asked | None = None
    reply: Reply | LeftOut | None = None
    at: datetime | None = None
    text: str | None = None
    bodies: dict[str, Content] = field(default_factory=dict)


def read_warc(path: Path, store: Store) -> Iterator[Exchange | LeftOut]:
    """Each exchange in the order of the file; its bodies are there until the next. ArchiveFault, OSError."""
    index = indexed(path)
    open_parts: dict[int, _Parts] = {}
    kept: dict[str, Content] = {}
    for place, record in records(path):
        group = index.groups.get(place)
        if group is None:
            if record.rec_type == "continuation":
                yield LeftOut("in segments")
            continue
        parts = open_parts.setdefault(id(group), _Parts())
        seen = next(each for each in group.records if each.place == place)
        _take(seen, record, group, parts, _Shelf(store, kept, index.referred))
        if place == group.last:
            del open_parts[id(group)]
            made = _made(parts, group)
            yield made
            store.drop(made, keep=kept.values())


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Where bodies go, and those that are referred to."""

    store: Store
    kept: dict[str, Content]
    referred: frozenset[str]

    def raw(self, record: Any) -> Content | None:
        """The body of an answer that is referred to, kept as it came; None for any other."""
        keys = [key for key in keys_of(record) if key in self.referred]
        if not keys or record.rec_type == "revisit":
            return None
        content = self.store.content(_chunks(record))
        self.kept.update({key: content for key in keys if key not in self.kept})
        return content

    def referred_to(self, record: Any) -> Content | None:
        """The body that a revisit refers to."""
        return next((self.kept[key] for key in keys_of(record, "Refers-To") if key in self.kept), None)


def _take(seen: Seen, record: Any, group: Group, parts: _Parts, shelf: _Shelf) -> None:
    """One record of a group."""
    try:
        if seen.own:
            parts.text = record.raw_stream.read(limits.ARCHIVE_TEXT_BYTES).decode("utf-8", "replace")
        elif group.own:
            parts.bodies[seen.name] = shelf.store.content(_chunks(record))
        elif seen.kind == "request":
            body = shelf.store.content(_chunks(record))
            parts.asked = Asked(group.method, seen.target, _headers(record), body if body.size else None)
        else:
            parts.at = _date(record)
            parts.reply = _reply(seen, record, group.method, shelf)
    except TooMuch:
        parts.reply = LeftOut("larger than a recording may be")


def _reply(seen: Seen, record: Any, method: str, shelf: _Shelf) -> Reply | LeftOut:
    if seen.kind == "resource":
        return _resource(seen, shelf.store.content(_chunks(record)))
    if not _WEB.match(seen.target) or record.http_headers is None:
        return LeftOut("not over HTTP")
    status = record.http_headers.get_statuscode()
    if not _STATUS.fullmatch(status):
        return LeftOut("without a status")
    headers, profile = _headers(record), record.rec_headers.get_header("WARC-Profile") or ""
    if seen.kind == "revisit" and not profile.endswith("server-not-modified"):
        body = shelf.referred_to(record)
        if body is None:
            return LeftOut("a copy of what is not in the file")
    else:
        body = shelf.raw(record)
    chunks = _chunks(record) if body is None else body.chunks()
    cut = record.rec_headers.get_header("WARC-Truncated") in ("length", "time", "unspecified")
    return message(method, int(status), headers, chunks, shelf.store, cut=cut)


def _resource(seen: Seen, content: Content) -> Reply | LeftOut:
    if _WEB.match(seen.target):
        return Message(200, (("Content-Type", seen.media_type),) if seen.media_type else (), content)
    if not _PLACED.match(seen.target):
        return LeftOut("not over a protocol of the gateway")
    stat = Stat(Kind.FILE, content.size, media_type=seen.media_type)
    return Told(stat=stat, content=content, size=content.size)


def _made(parts: _Parts, group: Group) -> Exchange | LeftOut:
    if parts.text is not None and not isinstance(parts.reply, LeftOut):
        try:
            return read_toml(parts.text, parts.bodies.get)
        except TextFault as fault:
            return LeftOut(f"with a broken text of its own: {fault.mistakes[0]}")
    if parts.reply is None or isinstance(parts.reply, LeftOut):
        return parts.reply or LeftOut("without an answer")
    if parts.at is None:
        return LeftOut("without a date")
    answer = next(each for each in group.records if each.kind in ANSWERS)
    method = "READ" if isinstance(parts.reply, Told) else "GET"
    return Exchange(parts.asked or Asked(method, answer.target), parts.reply, parts.at)


def _chunks(record: Any) -> Iterator[bytes]:
    """The block, or its HTTP body with the transfer coding off (RFC 9112 section 7.1)."""
    stream = record.raw_stream
    http = record.http_headers
    if http is not None and (http.get_header("Transfer-Encoding") or "").strip().lower() == "chunked":
        stream = ChunkedDataReader(stream)
    while data := stream.read(limits.CHUNK_BYTES):
        yield data


def _headers(record: Any) -> Headers:
    if record.http_headers is None:
        return ()
    return tuple((_latin_1(name), _latin_1(value.strip())) for name, value in record.http_headers.headers)


def _latin_1(text: str) -> str:
    """As recordings have it (RFC 9110 section 5.5), where warcio took the bytes for UTF-8."""
    return text if all(ord(each) < 0x100 for each in text) else text.encode("utf-8").decode("latin-1")


def _date(record: Any) -> datetime | None:
    match = _DATE.fullmatch((record.rec_headers.get_header("WARC-Date") or "").strip())
    if match is None:
        return None
    try:
        moment = datetime.fromisoformat(match[1]).replace(tzinfo=UTC)
    except ValueError:
        return None
    return moment.replace(microsecond=int((match[2] or ".0")[1:4].ljust(3, "0")) * 1000)
