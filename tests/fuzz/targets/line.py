"""The line reader: any bytes, under any settings, cut in any way.

Invariant: whole, in pieces and byte by byte give the same events, echo and flow control; a CAN is seen ahead
exactly where reading on gives one; no line is longer than its limit or holds a byte that edits or ends
lines; and what was read reads the same when it is sent again.
"""

import copy
import re
from collections.abc import Iterable, Iterator
from typing import Final

from adapters import limits
from gateway.wire.lines import Cancel, Data, Event, Line, LineReader, Pause
from gateway.wire.settings import Settings
from tests.fuzz.inputs import behind, literals, parted, pieces

_CHARSETS: Final = ("ascii", "latin1", "cp437", "caseswap", "cp864")
_TELNETS: Final = ("auto", "on", "off")
_EOLS: Final = ("crlf", "cr", "lf", "9b", "none", "mirror")
_NEVER: Final = frozenset(b"\0\x08\n\r\x11\x13\x18\x7f")
_RAW: Final = re.compile(rb"R([0-9]{1,3})")


def _settings(options: bytes) -> Settings:
    first, second = options[0], options[1]
    return Settings(
        charset=_CHARSETS[first % 5],
        telnet=_TELNETS[first // 5 % 3],
        bits=7 if first // 15 % 2 else 8,
        echo=first // 30 % 2 == 1,
        flow="xon" if first // 60 % 2 else "none",
        eol=_EOLS[second % 6],
    )


def _drained(reader: LineReader, found: list[Event], flow: bool) -> None:
    """All events that are there; a line `R9` makes the next nine bytes raw, as a STORE's count does.

    Not with flow control, which is 503 with raw bytes: 13h has to hold before anybody can know it for data.
    """
    while (event := reader.next_event()) is not None:
        last = found[-1] if found else None
        if isinstance(event, Data) and event.counted and isinstance(last, Data) and last.counted:
            found[-1] = Data(last.data + event.data, counted=True)
        elif not isinstance(event, Pause):
            found.append(event)
        if isinstance(event, Line) and not flow and (raw := _RAW.fullmatch(event.data)):
            reader.expect(int(raw[1]))


def _read(parts: Iterable[bytes], settings: Settings, data_lines: bool, look: bool) -> tuple[object, ...]:
    reader = LineReader(settings)
    reader.data_lines = data_lines
    found: list[Event] = []
    output = b""
    for number, part in enumerate(parts):
        reader.feed(part)
        if look and number < 6:
            ahead = copy.deepcopy(reader)
            assert reader.cancel_ahead() is any(isinstance(each, Cancel) for each in _all(ahead))
        _drained(reader, found, settings.flow == "xon")
        output += reader.take_output()
    return found, [each.sent for each in found if isinstance(each, Line)], output, reader.held, reader.pending


def _all(reader: LineReader) -> Iterator[Event]:
    while (event := reader.next_event()) is not None:
        yield event


def _check_line(line: Line, settings: Settings, data_lines: bool) -> None:
    assert _NEVER.isdisjoint(line.sent)
    assert settings.bits == 8 or all(byte < 0x80 for byte in line.sent)
    if line.continued:
        return
    whole = limits.PIECE_BYTES + limits.LINE_BYTES if data_lines else limits.LINE_BYTES
    assert len(line.data) == len(line.sent) <= whole
    assert not line.overlong or len(line.data) >= limits.LINE_BYTES
    if not line.overlong:
        again = LineReader(Settings(charset=settings.charset, bits=settings.bits, telnet="off"))
        again.data_lines = data_lines
        again.feed(line.sent + b"\r")
        read = again.next_event()
        assert isinstance(read, Line)
        assert (read.data, read.sent) == (line.data, line.sent)


def check(data: bytes) -> None:
    """See the module's text."""
    options, stream = parted(data, 3)
    settings, data_lines = _settings(options), options[1] // 6 % 2 == 1
    whole = _read([stream], settings, data_lines, look=False)
    assert whole == _read(
        [stream[at : at + 1] for at in range(len(stream))] or [b""], settings, data_lines, False
    )
    assert whole == _read(pieces(stream, options[2]) or [b""], settings, data_lines, look=True)
    for event in whole[0] if isinstance(whole[0], list) else ():
        if isinstance(event, Line):
            _check_line(event, settings, data_lines)


def seeds() -> Iterator[bytes]:
    """The inputs of the reader's tests, under settings that take turns."""
    options = [bytes((number * 7 % 120, number % 12, number)) for number in range(120)]
    folder = "gateway/wire"
    names = ("lines", "telnet", "editing")
    yield from behind(options, literals(*(f"{folder}/test_{name}.py" for name in names)))
    yield bytes((0, 6, 0)) + b">" + b"a" * 4_000 + b"\r"
