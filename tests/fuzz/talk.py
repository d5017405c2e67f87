"""What a session said -> replies, taken apart as a client does it (CONTRACT sections 2 and 5)."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from adapters import errors
from gateway.wire.charsets import encode_text
from gateway.wire.checks import digits
from gateway.wire.settings import CHECK_WIDTHS, Settings

_GOOD: Final = frozenset({150, 200, 220, 221, 226, 230, 250, 350})
_BAD: Final = frozenset(
    each.code
    for each in vars(errors).values()
    if isinstance(each, type) and issubclass(each, errors.HeadraceError)
)
_STATUS: Final = re.compile(r"([0-9]{3}) ([0-9]{5}) ([0-9]{3}) ([+.])([*SLC.])", re.IGNORECASE)


@dataclass(frozen=True)
class Said:
    """What came of one event; the settings, the line end and telnet's state are those after it."""

    lines: list[bytes]
    eol: bytes
    settings: Settings
    telnet: bool


@lru_cache(maxsize=64)
def _characters(charset: str) -> dict[int, str]:
    """What each byte that a reply's ASCII may be written with stands for."""
    table: dict[int, str] = {}
    for code in range(0x20, 0x7F):
        table.setdefault(encode_text(chr(code), charset)[0], chr(code))
    return table


def check_said(said: Sequence[Said]) -> None:
    """Every reply is whole. A page that is repeated may follow settings that were in force before."""
    known: list[Settings] = []
    for each in said:
        if each.settings not in known:
            known.append(each.settings)
        if each.lines and not any(_fits(each, settings) for settings in reversed(known)):
            raise AssertionError(f"no reply: {each.lines!r} {each.settings!r}")


def _fits(said: Said, settings: Settings) -> bool:
    if said.settings.window or settings.window:
        return all(_ends(line, said.eol) is not None for line in said.lines)
    line = _ends(said.lines[0], said.eol)
    if line is None:
        return False
    status = "".join(_characters(settings.printed).get(byte, "?") for byte in line)
    added = CHECK_WIDTHS[settings.check]
    found = _STATUS.match(status)
    if found is None or len(status) != 16 + added or not _checked(line, settings):
        return False
    code, count, width = int(found[1]), int(found[2]), int(found[3])
    if code not in (_GOOD if code < 400 else _BAD) or (width == 0) != (count == 0) or width > 255:
        return False
    if code >= 400 and count != 1:
        return False
    if (
        "raw" in {settings.bytes, said.settings.bytes}
        and width == 1
        and count
        and len(said.lines) != 1 + count
    ):
        return len(_undoubled(b"".join(said.lines[1:]), said)) in {count, len(b"".join(said.lines[1:]))}
    records = [_ends(each, said.eol) for each in said.lines[1:]]
    return len(records) == count and all(_is_record(each, width, said, settings) for each in records)


def _ends(line: bytes, eol: bytes) -> bytes | None:
    """The line without its end; None where it has another one or holds a control."""
    if not line.endswith(eol):
        return None
    return line[: len(line) - len(eol)]


def _is_record(record: bytes | None, width: int, said: Said, settings: Settings) -> bool:
    if record is None:
        return False
    escaped = _undoubled(record, said)
    if len(record) != width and len(escaped) != width:
        return False
    record = record if len(record) == width else escaped
    top = 0x7E if settings.printed == "ascii" else 0xFF
    if not all(0x20 <= byte <= top and byte != 0x7F for byte in record):
        return False
    if settings.mark and record[:1] != encode_text("!", settings.printed):
        return False
    return _checked(record, settings)


def _undoubled(data: bytes, said: Said) -> bytes:
    telnet = said.settings.telnet == "on" or said.telnet
    return data.replace(b"\xff\xff", b"\xff") if telnet else data


def _checked(line: bytes, settings: Settings) -> bool:
    added = CHECK_WIDTHS[settings.check]
    return not added or line[-added:] == encode_text(digits(line[:-added], settings.check), settings.printed)
