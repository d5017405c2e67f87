"""line -> line with check digits: a sum, or CRC-16/XMODEM (CONTRACT section 5, `check`).

CRC-16/XMODEM is the parameter set of that name in the catalogue of parametrised CRC algorithms: width 16,
polynomial 1021h, initial value 0, nothing reflected, nothing added at the end; "123456789" gives 31C3h.
The standard library has it as `binascii.crc_hqx`.
"""

import binascii
import re
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final

from adapters.errors import NotARequest
from gateway.wire.settings import CHECK_WIDTHS


def _sum(data: bytes, before: int) -> int:
    return (sum(data) + before) % 256


_CHECKS: Final[Mapping[str, Callable[[bytes, int], int]]] = MappingProxyType(
    {"sum": _sum, "crc": binascii.crc_hqx}
)
_ENDS: Final = {
    kind: re.compile(rb"[ \t]\*([0-9A-Fa-f]{%d})[ \t]*" % CHECK_WIDTHS[kind]) for kind in ("sum", "crc")
}


def digits(data: bytes, kind: str) -> str:
    """The check of a line's bytes, its end not among them: upper-case hex, as many digits as `kind` has."""
    return f"{_CHECKS[kind](data, 0):0{CHECK_WIDTHS[kind]}X}"


def value_so_far(sent: bytes, kind: str, before: Sequence[int], *, prompt: bool) -> tuple[int, ...]:
    """What the check of a line that comes in pieces may be, up to this one; `before`: up to the last one.

    `prompt`: the piece begins with one that a BASIC put before the line, which may not have been counted in.
    """
    check = _CHECKS[kind]
    if before:
        return tuple(check(sent, each) for each in before)
    return (check(sent, 0), check(sent[2:], 0)) if prompt else (check(sent, 0),)


def without_check(line: bytes, kind: str, sent: bytes = b"", before: Sequence[int] = ()) -> bytes | None:
    """The bytes before the blank, `*` and check that a line ends in; None where it ends in none.

    NotARequest where the check is not theirs, or not of those that were `sent` in their place (`Line.sent`).
    `before`: what `value_so_far` has of the pieces before the last one, which `line` is then.
    """
    start = max(line.rfind(b" *"), line.rfind(b"\t*"))
    found = _ENDS[kind].fullmatch(line, start) if start >= 0 else None
    if found is None:
        return None
    text, value = line[:start], int(found[1], 16)
    prompt = text.startswith(b"? ")
    if value not in value_so_far((sent or line)[:start], kind, before, prompt=prompt):
        raise NotARequest("The check does not fit the line")
    return text
