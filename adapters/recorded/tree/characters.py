"""A body's first bytes -> how its bytes are characters: of one byte or more, or wide (UTF-16, UTF-32)."""

import re
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Characters:
    """How a body's bytes are characters, each of a multiple of `size` bytes. Whatever the bytes are, they
    come out again as they were; UTF-32 has codes that are none, and then there is UnicodeDecodeError.
    """

    codec: str
    size: int = 1
    odd: str = "surrogatepass"

    def text(self, data: bytes) -> str:
        """The characters."""
        return data.decode(self.codec, self.odd)

    def data(self, text: str) -> bytes:
        """Their bytes."""
        return text.encode(self.codec, self.odd)


NARROW: Final = Characters("utf-8", odd="surrogateescape")
"""Of one byte or more: what is no UTF-8 stays too."""
UNKNOWN: Final = Characters("")
"""Nothing has come yet."""
FIRST: Final = 4
"""Bytes that tell which it is."""
_WIDE: Final = (  # how it begins: a byte order mark, or an ASCII character, as XML 1.0 appendix F has it
    (re.compile(rb"(?s)\xff\xfe\0\0|[^\0]\0\0\0"), Characters("utf-32-le", 4)),
    (re.compile(rb"(?s)\0\0\xfe\xff|\0\0\0[^\0]"), Characters("utf-32-be", 4)),
    (re.compile(rb"(?s)\xff\xfe|[^\0]\0[^\0]\0"), Characters("utf-16-le", 2)),
    (re.compile(rb"(?s)\xfe\xff|\0[^\0]\0[^\0]"), Characters("utf-16-be", 2)),
)


def characters_of(data: bytes) -> Characters:
    """Those of a body that begins so."""
    return next((wide for begins, wide in _WIDE if begins.match(data)), NARROW)
