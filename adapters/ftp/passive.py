"""The reply to EPSV or PASV -> a port. Its address is never used: data comes from the control host.

RFC 2428 section 3 for 229, RFC 959 section 4.2 and RFC 1123 section 4.1.2.6 for 227. A port below 1,024 is
none: services live there, and a server could have what a client stores said to one (RFC 2577 section 3).
"""

import re
from typing import Final

from adapters.errors import WrongDocument

_EXTENDED: Final = re.compile(r"\(([\x21-\x7e])\1\1(\d{1,5})\1\)")
_NUMBERS: Final = re.compile(r"(?<!\d)\d{1,3}(?:\s*,\s*\d{1,3}){5}(?!\d)")
_FIRST_PORT: Final = 1_024
_LAST_PORT: Final = 65_535


def extended_port(text: str) -> int:
    """The port in the text of a 229, `(|||6446|)` with any delimiter. WrongDocument."""
    found = _EXTENDED.search(text)
    return _checked(int(found[2]) if found else 0)


def passive_port(text: str) -> int:
    """The port in the text of a 227: six numbers wherever they stand, parentheses or not. WrongDocument."""
    found = _NUMBERS.search(text)
    if found is None:
        return _checked(0)
    numbers = [int(number) for number in found[0].split(",")]
    return _checked(numbers[4] << 8 | numbers[5] if max(numbers) <= 255 else 0)


def _checked(port: int) -> int:
    if _FIRST_PORT <= port <= _LAST_PORT:
        return port
    raise WrongDocument("The far server names no data port")
