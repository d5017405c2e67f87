"""typed text -> whether it is the number that an arg wants, and its JSON form (RFC 8259 section 6)."""

import re
from typing import Final

from gateway.catalogue.model import ArgKind

_INT: Final = re.compile(r"[+-]?[0-9]+")
_FIXED: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")


def is_number(text: str, kind: ArgKind) -> bool:
    """Whether `text` is what an arg of that kind takes; anything is text."""
    if kind is ArgKind.TEXT:
        return True
    return (_INT if kind is ArgKind.INT else _FIXED).fullmatch(text) is not None


def json_number(text: str) -> str:
    """A checked number as JSON writes it, digits kept: `+007.50` is `7.50`, `.5` is `0.5`."""
    sign = "-" if text.startswith("-") else ""
    whole, _, fraction = text.lstrip("+-").partition(".")
    whole = whole.lstrip("0") or "0"
    return f"{sign}{whole}.{fraction}" if fraction else f"{sign}{whole}"
