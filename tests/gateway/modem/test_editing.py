"""Command lines against V.250 section 5.2, from memory; where a prefix may stand is our own choice."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.modem.editing import Again, CommandEditor, CommandLine
from gateway.modem.parameters import Parameters

PLAIN = Parameters()


def edited(data: bytes, parameters: Parameters = PLAIN) -> tuple[list[str], bytes]:
    """The lines, with `again` for A/, and the echo."""
    editor, lines, echo = CommandEditor(), [], b""
    for byte in data:
        part, line = editor.typed(byte, parameters)
        echo += part
        if isinstance(line, CommandLine):
            lines.append("too long" if line.overlong else line.body)
        elif isinstance(line, Again):
            lines.append("again")
    return lines, echo


LINES = [
    (b"AT\r", [""]),
    (b"at\r", [""]),
    (b"At\r", []),  # both letters have one case
    (b"aT\r", []),
    (b"ATE0\r", ["E0"]),
    (b"AT E0 Q1\r", [" E0 Q1"]),
    (b"A T\r", []),
    (b"A/", ["again"]),
    (b"a/", ["again"]),
    (b"ATZ\rA/A/", ["Z", "again", "again"]),
    (b"\r\n\rATZ\r\n", ["Z"]),
    (b"xxATZ\r", ["Z"]),
    (b"AATZ\r", ["Z"]),
    (b"xA/\r", []),
    (b"xx\x08\x08A/", ["again"]),
    (b"AX\x08TZ\r", ["Z"]),
    (b"ATX\x08Z\r", ["Z"]),
    (b"AT\x08\x08Z\r", ["Z"]),  # the prefix stays
    (b"ATAT\r", ["AT"]),
    (b"AT\x00\x1b\x7f\x0bE\x020\r", ["E0"]),  # control characters
    (b"ATE0\n", []),
    (b"Z\r", []),
]


@pytest.mark.parametrize(("data", "lines"), LINES)
def test_lines(data: bytes, lines: list[str]) -> None:
    assert edited(data)[0] == lines


def test_echo() -> None:
    assert edited(b"ATE\x0b1\r\n")[1] == b"ATE1\r"
    assert edited(b"ATX\x08Z\r")[1] == b"ATX\x08 \x08Z\r"  # blotting out: common practice
    assert edited(b"AT\x08\r")[1] == b"AT\r"
    assert edited(b"\x08\x08x\r")[1] == b"x\r"


def test_the_end_is_looked_for_first_then_rubbing_out() -> None:
    """Section 5.2.2: even where they are characters with another use."""
    assert edited(b"ATE1*", Parameters(end=42))[0] == ["E1"]
    assert edited(b"ATE1\r*", Parameters(end=42))[0] == ["E1"]
    assert edited(b"ATE12*0\r", Parameters(rubout=42))[0] == ["E10"]
    assert edited(b"ATE1*", Parameters(end=42, rubout=42))[0] == ["E1"]
    assert edited(b"atAE0A", Parameters(end=65))[0] == [""]


@pytest.mark.parametrize("length", [40, limits.MODEM_LINE_CHARACTERS])
def test_a_line_holds_forty_characters_and_more(length: int) -> None:
    assert edited(b"AT" + b"1" * length + b"\r")[0] == ["1" * length]


def test_a_line_that_is_too_long_can_be_rubbed_out_to_its_limit() -> None:
    body = b"1" * limits.MODEM_LINE_CHARACTERS
    assert edited(b"AT" + body + b"23\r")[0] == ["too long"]
    assert edited(b"AT" + body + b"23\x08\r")[0] == ["too long"]
    assert edited(b"AT" + body + b"23\x08\x08\r")[0] == [body.decode()]
    assert edited(b"AT" + body + b"23\x08\x08\x08\r")[0] == [body.decode()[1:]]
    assert edited(b"AT" + body + b"2\rATZ\r")[0] == ["too long", "Z"]


def test_noise_takes_no_room() -> None:
    assert edited(b"x" * 100_000 + b"ATZ\r")[0] == ["Z"]


def test_a_line_can_be_forgotten() -> None:
    editor = CommandEditor()
    for byte in b"ATZ":
        editor.typed(byte, PLAIN)
    editor.clear()
    assert editor.typed(13, PLAIN) == (b"\r", None)


@given(st.binary(max_size=60).map(lambda data: bytes(byte & 0x7F for byte in data)))
def test_a_line_is_what_a_terminal_shows(data: bytes) -> None:
    """An independent reading: rub out with a list, for what stands between the prefix and the end."""
    typed = data.replace(b"\r", b"")
    body: list[int] = []
    for byte in typed:
        if byte == 8:
            del body[-1:]
        elif 32 <= byte <= 126:
            body.append(byte)
    lines, echo = edited(b"AT" + typed + b"\r")
    assert lines == [bytes(body).decode()]
    screen: list[int] = []
    for byte in echo:
        if byte == 8:
            screen.pop()
        else:
            screen.append(byte)
    shown = bytes(screen).decode().rstrip("\r")
    assert shown.rstrip(" ") == f"AT{lines[0]}".rstrip(" ")
