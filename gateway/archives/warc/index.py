"""A WARC file -> which of its records are one exchange, and which bodies later records refer to.

A request belongs to the answer that names it or that it names (WARC-Concurrent-To), or else to the one next
to it for the same URI. A metadata record of this gateway's own belongs to what it names.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from warcio.archiveiterator import ArchiveIterator
from warcio.exceptions import ArchiveLoadFailed

from gateway.archives.outcome import ArchiveFault

TOML: Final = "application/toml"  # as registered with IANA
ANSWERS: Final = frozenset({"response", "revisit", "resource"})
_READ: Final = ANSWERS | {"request", "metadata"}


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
    """`groups` by the places of their records; `referred` are ids, digests, and URIs with dates of bodies
    that are needed again.
    """

    groups: dict[int, Group]
    referred: frozenset[str]


def records(path: Path) -> Iterator[tuple[int, Any]]:
    """Each record and its place. It is to be read before the next one. ArchiveFault, OSError."""
    with path.open("rb") as file:
        try:
            yield from enumerate(ArchiveIterator(file))
        except OSError:
            raise
        except ArchiveLoadFailed as error:
            why = next(iter(str(error).strip().splitlines()), "").strip()
            raise ArchiveFault(f"not a WARC file that can be read: {why}") from error
        except Exception as error:  # what warcio meets where fields are missing, whatever it is
            raise ArchiveFault("not a WARC file that can be read: it is damaged") from error


def indexed(path: Path) -> Index:
    """Read the file once. ArchiveFault, OSError."""
    seen: list[Seen] = []
    referred: set[str] = set()
    for place, record in records(path):
        if record.rec_type in _READ:
            seen.append(_seen(place, record))
        if record.rec_type == "revisit":
            referred.update(keys_of(record, "Refers-To"))
    return Index(
        {each.place: group for group in _groups(seen) for each in group.records}, frozenset(referred)
    )


def keys_of(record: Any, prefix: str = "") -> list[str]:
    """By what a body is referred to: its record's id, its digest, its URI at its date.

    `prefix`: "Refers-To" for what a revisit refers to.
    """
    get = record.rec_headers.get_header
    name = get(f"WARC-{prefix}") if prefix else get("WARC-Record-ID")
    target = get(f"WARC-{prefix}-Target-URI") if prefix else get("WARC-Target-URI")
    date = get(f"WARC-{prefix}-Date") if prefix else get("WARC-Date")
    at = f"{target} {date}" if target and date else None
    return [key for key in (name, at, get("WARC-Payload-Digest")) if key]


def _seen(place: int, record: Any) -> Seen:
    headers = record.rec_headers
    http = record.http_headers
    return Seen(
        place,
        record.rec_type,
        headers.get_header("WARC-Record-ID") or f"record {place}",
        tuple(value for name, value in headers.headers if name.lower() == "warc-concurrent-to"),
        headers.get_header("WARC-Target-URI") or "",
        (record.content_type or "").partition(";")[0].strip().lower(),
        http.protocol.upper() if record.rec_type == "request" and http is not None else "",
    )


def _groups(seen: Sequence[Seen]) -> list[Group]:
    of_name: dict[str, Group] = {}
    groups: list[Group] = []

    def begin(record: Seen) -> Group:
        group = Group([record])
        groups.append(group)
        of_name[record.name] = group
        return group

    for record in seen:
        if record.kind in ANSWERS:
            begin(record)
    for at, record in enumerate(seen):
        if record.kind == "request":
            found = _named(record, seen, of_name) or _beside(at, seen, of_name)
            if found is None:
                continue  # a request without an answer says nothing
            found.records.append(record)
            of_name[record.name] = found
    for record in seen:
        if record.own:
            group = next((of_name[name] for name in record.beside if name in of_name), None)
            if group is None:
                begin(record)
            else:
                group.records.append(record)
    return groups


def _named(request: Seen, seen: Sequence[Seen], of_name: dict[str, Group]) -> Group | None:
    for name in request.beside:
        if name in of_name:
            return of_name[name]
    answer = next((each for each in seen if each.kind in ANSWERS and request.name in each.beside), None)
    return None if answer is None else of_name[answer.name]


def _beside(at: int, seen: Sequence[Seen], of_name: dict[str, Group]) -> Group | None:
    for place in (at + 1, at - 1):
        if 0 <= place < len(seen) and seen[place].kind in ANSWERS and seen[place].target == seen[at].target:
            group = of_name[seen[place].name]
            if all(each.kind != "request" for each in group.records):
                return group
    return None
