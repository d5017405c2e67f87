"""Names of a folder -> short ones of at most 8 and 3 characters, each once (CONTRACT section 5, `names`).

Only A-Z, 0-9, `_` and `-` stand in them. A name that is that short already keeps itself, in capitals, and
goes before all others. Any other is made ASCII, what is not allowed is left out, and it is cut; where that is
taken, its end gives way to `-2`, `-3` and so on. The names alone decide, in the order of their bytes: neither
the server's order nor the one that the client sorts by changes anything.
"""

import re
from collections.abc import Sequence
from typing import Final

from gateway.extract.fields.text import Lettering
from gateway.extract.folders.names import decoded_name

_BASE: Final = 8
_ENDING: Final = 3
_SHORT: Final = re.compile(rb"[A-Z0-9_-]{1,8}(?:\.[A-Z0-9_-]{1,3})?")
_NOT_ALLOWED: Final = re.compile(r"[^A-Z0-9_-]")
_NAMELESS: Final = "NAME"


def short_names(names: Sequence[bytes], lettering: Lettering | None = None) -> tuple[str, ...]:
    """The short name of each of `names`, in their order. `lettering`: of the listing, to ASCII."""
    lettering = lettering or Lettering()
    found: dict[int, str] = {}
    taken: set[str] = set()
    order = sorted(range(len(names)), key=names.__getitem__)
    for place in order:
        capitals = names[place].upper()  # bytes: ASCII letters only
        if _SHORT.fullmatch(capitals) and (word := capitals.decode("ascii")) not in taken:
            found[place] = word
            taken.add(word)
    next_numbers: dict[tuple[str, str], int] = {}
    for place in order:
        if place not in found:
            found[place] = _free(*_parts(names[place], lettering), taken, next_numbers)
            taken.add(found[place])
    return tuple(found[place] for place in range(len(names)))


def _parts(name: bytes, lettering: Lettering) -> tuple[str, str]:
    """Base and ending, the ending with its dot or empty."""
    text = lettering.clean(decoded_name(name)).upper()
    base, dot, ending = text.rpartition(".")
    if not base.strip(". "):  # a dot in front is no ending's
        base, dot, ending = text, "", ""
    base = _NOT_ALLOWED.sub("", base)[:_BASE] or _NAMELESS
    ending = _NOT_ALLOWED.sub("", ending)[:_ENDING]
    return base, f"{dot}{ending}" if ending else ""


def _free(base: str, ending: str, taken: set[str], next_numbers: dict[tuple[str, str], int]) -> str:
    if base + ending not in taken:
        return base + ending
    digits = 1
    while True:
        stem = base[: _BASE - 1 - digits]
        number = next_numbers.get((f"{stem}-{digits}", ending), max(2, 10 ** (digits - 1)))
        while number < 10**digits and f"{stem}-{number}{ending}" in taken:
            number += 1
        next_numbers[f"{stem}-{digits}", ending] = number
        if number < 10**digits:
            return f"{stem}-{number}{ending}"
        digits += 1
