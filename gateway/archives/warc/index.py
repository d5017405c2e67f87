"""A WARC file -> which of its records are one exchange, and which bodies later records refer to.

A request belongs to the answer that names it or that it names (WARC-Concurrent-To), or else to the one next
to it for the same URI. A metadata record of this gateway's own belongs to what it names.
"""

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from warcio.archiveiterator import ArchiveIterator
from warcio.exceptions import ArchiveLoadFailed

from adapters import limits
from gateway.archives.messages import asked_url
from gateway.archives.outcome import ArchiveFault
from gateway.archives.warc.http import read_head
from gateway.archives.warc.unpacking import Unpacked

TOML: Final = "application/toml"  # as registered with IANA
ANSWERS: Final = frozenset({"response", "revisit", "resource"})
_READ: Final = ANSWERS | {"request", "metadata"}

# The library writes whole URLs of the file with their keys and control bytes, where it finds a blank in one.
logging.getLogger("warcio").setLevel(logging.ERROR)


@dataclass(frozen=True, slots=True)
class Seen:
    """A record without its block. `place` is its number in the file, from 0; `method` is a request's."""

    place: int
    kind: str
    name: str
    beside: tuple[str, ...]
    target: str
    media_type: str
    method: str = ""

    @property
    def own(self) -> bool:
        """Whether it holds a recording's TOML text."""
        return self.kind == "metadata" and self.media_type == TOML


@dataclass(slots=True)
class Group:
    """Records that are one exchange."""

    records: list[Seen] = field(default_factory=list)

    @property
    def last(self) -> int:
        """The place of the last of them."""
        return max(each.place for each in self.records)

    @property
    def own(self) -> bool:
        """Whether this gateway wrote them."""
        return any(each.own for each in self.records)

    @property
    def method(self) -> str:
        """What was asked with; without a request, GET."""
        return next((each.method for each in self.records if each.kind == "request"), "") or "GET"


@dataclass(frozen=True, slots=True)
class Index:
    """`groups` by the places of their records; `left_out` has why a record is no part of one, by its place;
    `referred` are ids, digests, and URIs with dates of bodies that are needed again. `cut`: the file ends
    within a record, which is no part of anything.
    """

    groups: Mapping[int, Group]
    left_out: Mapping[int, str]
    referred: frozenset[str]
    cut: bool = False


class _Misplaced:
    """In the place of the warning that the library prints before it leaves a line of the file out."""

    def format(self, *_: object) -> str:
        """Refuse the file instead: nobody can tell which Content-Length is wrong."""
        raise ArchiveLoadFailed("what follows is no record")


class _Records(ArchiveIterator):  # type: ignore[misc]
    INC_RECORD = _Misplaced()


def records(file: Unpacked) -> Iterator[tuple[int, Any]]:
    """Each record and its place. It is to be read before the next one. ArchiveFault, OSError."""
    place = -1
    try:
        for place, record in enumerate(_Records(file, no_record_parse=True)):
            yield place, record
    except OSError:
        raise
    except Exception as error:  # what warcio meets where fields are missing, whatever it is
        if not (file.in_first_line and isinstance(error, ArchiveLoadFailed)):
            raise ArchiveFault(_fault(place, file, error)) from error
        file.cut = True
    if file.damaged:
        raise ArchiveFault(_fault(place, file))


def _fault(place: int, file: Unpacked, error: Exception | None = None) -> str:
    why = "damaged"
    if file.damaged:
        why = "its gzip is damaged"
    elif isinstance(error, ArchiveLoadFailed):
        why = "what follows is no record"
    where = f" behind record {place + 1}" if place >= 0 else ""
    return f"not a WARC file that can be read{where}: {why}"


def indexed(path: Path) -> Index:
    """Read the file once. ArchiveFault, OSError."""
    seen: list[Seen] = []
    left_out: dict[int, str] = {}
    referred: set[str] = set()
    with Unpacked(path) as file:
        for place, record in records(file):
            each = _seen(place, record)
            if not _whole(place, record):
                file.cut = True
            elif each.kind == "conversion":
                left_out[place] = "converted copies of something"
            elif each.kind in _READ:
                seen.append(each)
                if each.kind == "revisit":
                    referred.update(keys_of(record, "Refers-To"))
    groups = {each.place: group for group in _groups(seen) for each in group.records}
    for each in seen:
        if each.kind == "request" and each.place not in groups:
            left_out[each.place] = "requests without an answer"
    return Index(groups, left_out, frozenset(referred), file.cut)


def keys_of(record: Any, prefix: str = "") -> list[str]:
    """By what a body is referred to: its record's id, its digest, its URI at its date.

    `prefix`: "Refers-To" for what a revisit refers to.
    """
    get = record.rec_headers.get_header
    name = get(f"WARC-{prefix}") if prefix else get("WARC-Record-ID")
    target = get(f"WARC-{prefix}-Target-URI") if prefix else get("WARC-Target-URI")
    date = get(f"WARC-{prefix}-Date") if prefix else get("WARC-Date")
    at = f"{asked_url(target)} {date}" if target and date else None
    return [key for key in (name, at, get("WARC-Payload-Digest")) if key]


def _whole(place: int, record: Any) -> bool:
    """Reads the block to its end. ArchiveFault where its end is not told."""
    size = 0
    while data := record.raw_stream.read(limits.CHUNK_BYTES):
        size += len(data)
    if record.length is None and size:
        raise ArchiveFault(f"not a WARC file that can be read: record {place + 1} has no Content-Length")
    told = record.rec_headers.get_header("Content-Length") or ""  # which may itself be cut off
    return bool(told) and not record.raw_stream.limit


def _seen(place: int, record: Any) -> Seen:
    headers = record.rec_headers
    kind = record.rec_type or ""
    head = read_head(record.raw_stream) if kind == "request" else None
    return Seen(
        place,
        kind,
        headers.get_header("WARC-Record-ID") or f"record {place}",
        tuple(value for name, value in headers.headers if name.lower() == "warc-concurrent-to"),
        asked_url(headers.get_header("WARC-Target-URI") or ""),
        (record.content_type or "").partition(";")[0].strip().lower(),
        "" if head is None else head.method,
    )


def _groups(seen: Sequence[Seen]) -> list[Group]:
    by_name = {record.name: record for record in seen}
    of_name: dict[str, Group] = {}
    groups: list[Group] = []

    def begin(record: Seen) -> Group:
        group = Group([record])
        groups.append(group)
        of_name[record.name] = group
        return group

    answered: dict[str, Seen] = {}
    for record in seen:
        if record.kind in ANSWERS:
            begin(record)
            for name in record.beside:
                answered.setdefault(name, record)
    for at, record in enumerate(seen):
        if record.kind == "request":
            found = next((of_name[name] for name in record.beside if name in of_name), None)
            if found is None and record.name in answered:
                found = of_name[answered[record.name].name]
            found = found or _beside(at, seen, of_name)
            if found is not None:
                found.records.append(record)
                of_name[record.name] = found
    for record in seen:
        if record.own:
            named = [name for name in record.beside if name in by_name]
            group = next((of_name[name] for name in named if name in of_name), None)
            if group is None and named:
                group = begin(by_name[named[0]])
            if group is None:
                begin(record)
            else:
                group.records.append(record)
    return groups


def _beside(at: int, seen: Sequence[Seen], of_name: Mapping[str, Group]) -> Group | None:
    for place in (at + 1, at - 1):
        if 0 <= place < len(seen) and seen[place].kind in ANSWERS and seen[place].target == seen[at].target:
            group = of_name[seen[place].name]
            if all(each.kind != "request" for each in group.records):
                return group
    return None
