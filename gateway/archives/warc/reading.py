"""A WARC file (ISO 28500, 1.0 and 1.1) of any tool -> exchanges.

The file is read twice: first which records belong together, then what is in them. A `revisit` has the body
of the answer that it refers to, and its head where it has none of its own, or is a 304. A metadata record of
this gateway's own says all that there is to know. A `resource` over HTTP is an answer without headers, and
over another protocol a document that was read.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from adapters import limits
from adapters.files import Kind, Stat
from adapters.recorded.exchange import Asked, Content, Exchange, Message, Reply, Told
from adapters.recorded.tree.table import TextFault
from adapters.recorded.tree.toml_text import read as read_toml
from gateway.archives.messages import Store, TooMuch, message
from gateway.archives.outcome import LeftOut
from gateway.archives.warc.http import Head, body, read_head
from gateway.archives.warc.index import ANSWERS, Group, Index, Seen, indexed, keys_of, records
from gateway.archives.warc.unpacking import Unpacked

_WEB: Final = re.compile(r"https?://", re.IGNORECASE)
_PLACED: Final = re.compile(r"(?:ftps?|davs?|file)://", re.IGNORECASE)
_DATE: Final = re.compile(
    r"([0-9]{4})(?:-([0-9]{2})(?:-([0-9]{2})"
    r"(?:T([0-9]{2}):([0-9]{2})(?::([0-9]{2})(?:\.([0-9]{1,9}))?)?Z)?)?)?"
)
"""Of any precision (ISO 28500:2017 section 5.4, W3C-DTF)."""


@dataclass(slots=True)
class _Parts:
    """What has been read of a group. `bodies` are by the ids of their records."""

    asked: Asked | None = None
    reply: Reply | LeftOut | None = None
    at: datetime | None = None
    text: str | None = None
    bodies: dict[str, Content] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Answer:
    """A response as it was kept, its transfer coding on; how its tool cut it, or empty."""

    head: Head
    block: Content
    cut: str


@dataclass(frozen=True, slots=True)
class _Shelf:
    """Where bodies go, and those answers that are referred to."""

    store: Store
    kept: dict[str, _Answer]
    referred: frozenset[str]

    def keep(self, record: Any, head: Head) -> _Answer | None:
        """The answer, where it is referred to; its block is then read."""
        keys = [key for key in keys_of(record) if key in self.referred]
        if not keys:
            return None
        answer = _Answer(head, self.store.content(_block(record)), _cut(record))
        self.kept.update({key: answer for key in keys if key not in self.kept})
        return answer

    def referred_to(self, record: Any) -> _Answer | None:
        """What a revisit refers to."""
        return next((self.kept[key] for key in keys_of(record, "Refers-To") if key in self.kept), None)


def read_warc(path: Path, store: Store) -> Iterator[Exchange | LeftOut]:
    """Each exchange in the order of the file; its bodies are there until the next. ArchiveFault, OSError."""
    index = indexed(path)
    with Unpacked(path) as file:
        for made in _exchanges(file, index, store):
            yield made
            store.drop(made)
    if index.cut:
        yield LeftOut("cut off by the end of the file")


def _exchanges(file: Unpacked, index: Index, store: Store) -> Iterator[Exchange | LeftOut]:
    open_parts: dict[int, _Parts] = {}
    shelf = _Shelf(store, {}, index.referred)
    for place, record in records(file):
        if place in index.left_out:
            yield LeftOut(index.left_out[place])
        group = index.groups.get(place)
        if group is None:
            continue
        parts = open_parts.setdefault(id(group), _Parts())
        seen = next(each for each in group.records if each.place == place)
        _take(seen, record, group, parts, shelf)
        if place == group.last:
            del open_parts[id(group)]
            yield _made(parts, group)


def _take(seen: Seen, record: Any, group: Group, parts: _Parts, shelf: _Shelf) -> None:
    """One record of a group."""
    try:
        if seen.own:
            parts.text = _text(record)
        elif group.own:
            if seen.media_type == "application/http":
                read_head(record.raw_stream)
            parts.bodies[seen.name] = shelf.store.content(_block(record))
        elif seen.kind == "request":
            parts.asked = _asked(seen, record, shelf.store)
        else:
            parts.at = _date(record)
            parts.reply = _reply(seen, record, group.method, shelf)
    except TooMuch:
        parts.reply = LeftOut("larger than a recording may be")


def _text(record: Any) -> str:
    """TooMuch."""
    data: bytes = record.raw_stream.read(limits.ARCHIVE_TEXT_BYTES + 1)
    if len(data) > limits.ARCHIVE_TEXT_BYTES:
        raise TooMuch
    return data.decode("utf-8", "replace")


def _asked(seen: Seen, record: Any, store: Store) -> Asked | None:
    head = read_head(record.raw_stream)
    if head is None or not head.method:
        return None
    content = store.content(body(_block(record), head))
    return Asked(head.method, seen.target, head.headers, content if content.size else None)


def _reply(seen: Seen, record: Any, method: str, shelf: _Shelf) -> Reply | LeftOut:
    if record.rec_headers.get_header("WARC-Segment-Number"):
        return LeftOut("in segments")
    if seen.kind == "resource":
        return _resource(seen, shelf.store.content(_block(record)))
    if not _WEB.match(seen.target):
        return LeftOut("not over HTTP")
    head = _final_head(record)
    if seen.kind == "response":
        return _message(method, head, shelf.keep(record, head) if head else None, record, shelf.store)
    if (record.rec_headers.get_header("WARC-Profile") or "").endswith("server-not-modified"):
        return _message(method, head, None, record, shelf.store)
    answer = shelf.referred_to(record)
    if answer is None:
        return LeftOut("a copy of what is not in the file")
    return _message(method, head or answer.head, answer, record, shelf.store)


def _message(
    method: str, head: Head | None, answer: _Answer | None, record: Any, store: Store
) -> Message | LeftOut:
    """`answer`: whose body it has, where that is kept already."""
    if head is None or head.status is None:
        return LeftOut("without a status")
    coded = head if answer is None else answer.head
    if coded.transfer_codings not in ([], ["chunked"]):
        return LeftOut("in a transfer coding that is not chunked")
    chunks = _block(record) if answer is None else answer.block.chunks()
    cut = _cut(record) if answer is None else answer.cut
    return message(
        method,
        head.status,
        head.headers,
        body(chunks, coded),
        store,
        cut=cut in ("length", "time", "unspecified"),
        broken=cut == "disconnect",
    )


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
    method = "READ" if isinstance(parts.reply, Told) else group.method
    return Exchange(parts.asked or Asked(method, answer.target), parts.reply, parts.at)


def _final_head(record: Any) -> Head | None:
    """Behind those that only tell of it (RFC 9110 section 15.2), where a tool kept them too."""
    head = read_head(record.raw_stream)
    while head is not None and head.status in (100, 102, 103) and (after := read_head(record.raw_stream)):
        head = after
    return head


def _block(record: Any) -> Iterator[bytes]:
    """What is left of it."""
    while data := record.raw_stream.read(limits.CHUNK_BYTES):
        yield data


def _cut(record: Any) -> str:
    return (record.rec_headers.get_header("WARC-Truncated") or "").strip().lower()


def _date(record: Any) -> datetime | None:
    match = _DATE.fullmatch((record.rec_headers.get_header("WARC-Date") or "").strip())
    if match is None:
        return None
    year, month, day, hour, minute, second = (
        int(each or least) for each, least in zip(match.groups()[:6], "011000", strict=True)
    )
    try:
        moment = datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    except ValueError:
        return None
    return moment.replace(microsecond=int((match[7] or "0")[:3].ljust(3, "0")) * 1000)
