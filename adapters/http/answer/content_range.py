"""Content-Range -> which bytes of a document these are (RFC 9110 section 14.4)."""

import re
from dataclasses import dataclass
from typing import Final

_DIGITS: Final = "[0-9]{1,18}"  # longer ones are no size that any disk can hold
_PART: Final = re.compile(
    rf"bytes[ \t]+({_DIGITS})[ \t]*-[ \t]*({_DIGITS})[ \t]*/[ \t]*({_DIGITS}|\*)", re.ASCII | re.IGNORECASE
)
_NONE: Final = re.compile(rf"bytes[ \t]+\*[ \t]*/[ \t]*({_DIGITS})", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class ContentRange:
    """The bytes from `first` to `last`, both included, of `complete` in all, or of an unknown number."""

    first: int
    last: int
    complete: int | None


def content_range(value: str | None) -> ContentRange | None:
    """What a 206 holds, or None where the field is missing or makes no sense."""
    found = _PART.fullmatch((value or "").strip(" \t"))
    if found is None:
        return None
    first, last = int(found[1]), int(found[2])
    complete = None if found[3] == "*" else int(found[3])
    if last < first or (complete is not None and complete <= last):
        return None
    return ContentRange(first, last, complete)


def unsatisfied_size(value: str | None) -> int | None:
    """How large the document is by a 416, or None."""
    found = _NONE.fullmatch((value or "").strip(" \t"))
    return None if found is None else int(found[1])
