"""A line of MLSD or MLST -> Entry (RFC 3659 section 7), on bytes: names stay as the server has them."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final

from adapters.files import Entry, Kind

_TIME: Final = re.compile(rb"(\d{4})(\d{2})(\d{2})(\d{2})(\d{2})(\d{2})(?:\.\d+)?")
_SIZE: Final = re.compile(rb"\d{1,20}")

_FOLDERS: Final = frozenset({b"dir", b"cdir", b"pdir"})
_THEMSELVES: Final = frozenset({b"cdir", b"pdir"})
_LINKS: Final = (b"os.unix=slink", b"os.unix=symlink")  # common practice; some add `:` and where it leads


def read_time(value: bytes) -> datetime | None:
    """A time-val (RFC 3659 section 2.3), always UTC. A leap second is the second before it."""
    found = _TIME.fullmatch(value.strip())
    if found is None:
        return None
    year, month, day, hour, minute, second = (int(each) for each in found.groups())
    try:
        return datetime(year, month, day, hour, minute, min(second, 59), tzinfo=UTC)
    except ValueError:
        return None


def read_facts(line: bytes) -> tuple[Mapping[bytes, bytes], bytes] | None:
    """The facts of a line, their names in lower case (section 7.2: case-blind), and its pathname.

    The first blank ends the facts, and all after it is the name, blanks and all. None where there is none.
    """
    facts, blank, name = line.partition(b" ")
    if not blank or not name:
        return None
    found: dict[bytes, bytes] = {}
    for fact in facts.split(b";"):
        key, equals, value = fact.partition(b"=")
        if equals:
            found.setdefault(key.strip().lower(), value)
        elif key:
            return None
    return found, name


def kind_of(facts: Mapping[bytes, bytes]) -> Kind:
    """What the `type` fact says; without one, a document, as most are."""
    value = facts.get(b"type", b"file").lower()
    if value in _FOLDERS:
        return Kind.FOLDER
    return Kind.LINK if value.startswith(_LINKS) else Kind.FILE


def size_of(facts: Mapping[bytes, bytes]) -> int | None:
    """The `size` fact in bytes (section 7.5.7)."""
    value = facts.get(b"size", b"")
    return int(value) if _SIZE.fullmatch(value) else None


def is_itself(facts: Mapping[bytes, bytes]) -> bool:
    """Whether the line is about the listed folder or the one above it (section 7.5.1)."""
    return facts.get(b"type", b"").lower() in _THEMSELVES


def entry_of(facts: Mapping[bytes, bytes], name: bytes) -> Entry:
    """The entry of that name. A folder's size is none: `sizd` and `size` say nothing of what is in it."""
    kind = kind_of(facts)
    return Entry(
        name=name,
        kind=kind,
        size=size_of(facts) if kind is Kind.FILE else None,
        modified=read_time(facts.get(b"modify", b"")),
    )
