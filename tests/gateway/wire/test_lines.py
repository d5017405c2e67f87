"""The reader against CONTRACT section 1, RFC 854/855/1143, and the byte scripts of the cases."""

import json
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.wire.lines import Cancel, End, Event, Line, LineReader
from gateway.wire.settings import Settings

CASES = Path(__file__).parents[2] / "cases"
PLAIN = Settings()


def events(*pieces: bytes, settings: Settings = PLAIN) -> tuple[list[Event], bytes]:
    reader, found, output = LineReader(settings), [], b""
    for piece in pieces:
        reader.feed(piece)
        while (event := reader.next_event()) is not None:
            found.append(event)
        output += reader.take_output()
    return found, output


def texts(*pieces: bytes, settings: Settings = PLAIN) -> list[bytes]:
    return [event.data for event in events(*pieces, settings=settings)[0] if isinstance(event, Line)]


# (bytes, lines): driven whole and byte by byte. Ends: RFC 854 "The NVT printer and keyboard" (CR LF, CR NUL);
# the rest is the contract's own words.
LINES = [
    (b"A\rB\r", [b"A", b"B"]),
    (b"A\nB\n", [b"A", b"B"]),
    (b"A\r\nB\r\n", [b"A", b"B"]),
    (b"A\r\0B\r\0", [b"A", b"B"]),
    (b"A\n\rB\n\r", [b"A", b"B"]),
    (b"A\x9bB\x9b", [b"A", b"B"]),
    (b"A\r\rB\r", [b"A", b"", b"B"]),
    (b"A\n\nB\n", [b"A", b"", b"B"]),
    (b"A\r\n\nB\n", [b"A", b"", b"B"]),
    (b"A\r\n\r\nB\r\n", [b"A", b"", b"B"]),
    (b"AX\x08B\r", [b"AB"]),
    (b"AX\x7fB\r", [b"AB"]),
    (b"\x08\x7fA\r", [b"A"]),
    (b"A\0\x11\x13B\r", [b"AB"]),
    (b"A\r\x11\nB\n", [b"A", b"B"]),
    (b"AB\x18CD\r", [b"CD"]),
    (b"A\tB\r", [b"A\tB"]),
    (b"A\x0b\x0c\x1c\x85B\r", [b"A\x0b\x0c\x1c\x85B"]),
    (b"never ended", []),
]


@pytest.mark.parametrize(("data", "expected"), LINES)
def test_lines_whole_and_byte_by_byte(data: bytes, expected: list[bytes]) -> None:
    assert texts(data) == expected
    assert texts(*(bytes((byte,)) for byte in data)) == expected


def test_a_cr_acts_at_once() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"TIME\r")
    assert reader.next_event() == Line(b"TIME", End.CR, "crlf")


def test_mirror_learns_a_bare_cr_from_the_byte_after_it() -> None:
    found, _ = events(b"A\rB\rC\r\nD\rE\nF\x9b")
    assert [event.mirror for event in found if isinstance(event, Line)] == [
        "crlf",
        "cr",
        "cr",
        "crlf",
        "lf",
        "9b",
    ]


def test_9b_ends_a_line_only_in_ascii() -> None:
    assert texts(b"A\x9bB\r", settings=replace(PLAIN, charset="latin1")) == [b"A\x9bB"]


def test_seven_bits_are_stripped_before_anything_else() -> None:
    seven = replace(PLAIN, bits=7)
    assert texts(bytes(byte | 0x80 for byte in b"TIME\r"), settings=seven) == [b"TIME"]
    assert texts(b"AB\xff\xffC\r", settings=seven) == [b"C"]  # FFh is then a rub-out, and never telnet


def test_a_setting_holds_from_the_byte_after_its_line() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"SET\rA\x9bB\r")
    assert reader.next_event() == Line(b"SET", End.CR, "crlf")
    reader.settings = replace(PLAIN, charset="latin1")
    assert reader.next_event() == Line(b"A\x9bB", End.CR, "cr")


def test_an_over_long_line_ends_once_and_its_tail_is_dropped() -> None:
    found, _ = events(b"A" * 255 + b"\r" + b"B" * 256 + b"BYE\rTIME\r")
    assert [
        (event.data[:1], len(event.data), event.overlong) for event in found if isinstance(event, Line)
    ] == [
        (b"A", 255, False),
        (b"B", 255, True),
        (b"T", 4, False),
    ]


def test_cancel_clears_an_over_long_line() -> None:
    found, _ = events(b"B" * 400 + b"\x18TIME\r")
    assert found == [Cancel(), Line(b"TIME", End.CR, "crlf")]


# Telnet: RFC 854 (commands), RFC 855 (subnegotiation), RFC 1143 (refuse, never answer a refusal)
@pytest.mark.parametrize(
    ("data", "answer"),
    [
        (b"\xff\xfb\x1f", b"\xff\xfe\x1f"),  # WILL -> DONT
        (b"\xff\xfd\x03", b"\xff\xfc\x03"),  # DO -> WONT
        (b"\xff\xfc\x01", b""),  # WONT: nothing changes, nothing is said
        (b"\xff\xfe\x01", b""),
        (
            b"\xff\xfa\x18\x00\x18\rVT\xff\xff\xff\xf0",
            b"",
        ),  # 18h and CR inside a block are neither CAN nor an end
        (b"\xff\xf1", b""),
        (b"\xff\xfb\x18", b"\xff\xfe\x18"),  # the option's number is 18h
    ],
)
def test_telnet_is_refused_and_never_reaches_a_line(data: bytes, answer: bytes) -> None:
    for cut in range(len(data) + 1):
        found, output = events(b"TI" + data[:cut], data[cut:] + b"ME\r")
        assert found == [Line(b"TIME", End.CR, "crlf")]
        assert output == answer


def test_telnet_erase_commands_edit_the_line() -> None:
    assert texts(b"ABC\xff\xf7\r") == [b"AB"]  # EC
    assert texts(b"ABC\xff\xf8D\r") == [b"D"]  # EL


def test_ff_is_data_where_telnet_is_off_doubled_or_no_command() -> None:
    latin = replace(PLAIN, charset="latin1")
    assert texts(b"A\xffB\r", settings=replace(latin, telnet="off")) == [b"A\xffB"]
    assert texts(b"A\xff\xffB\r", settings=latin) == [b"A\xffB"]
    assert texts(b"A\xffB\r", settings=latin) == [b"A\xffB"]


def test_echo_gives_back_what_was_typed_but_no_secret() -> None:
    echo = replace(PLAIN, echo=True)
    assert events(b"TIMF\x08E\r", settings=echo)[1] == b"TIMF\b \bE\r\n"
    assert events(b"LOGIN someone opensesame\r", settings=echo)[1] == b"LOGIN someone \r\n"
    assert events(b"log a b\r", settings=echo)[1] == b"log a \r\n"


def test_a_cancel_ahead_is_seen_and_only_a_real_one() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"TIME\r\xff\xfb\x18TI")
    assert not reader.cancel_ahead()
    reader.feed(b"\x18NOOP\r")
    assert reader.cancel_ahead()
    assert reader.next_event() == Line(b"TIME", End.CR, "crlf")
    assert reader.cancel_ahead()
    assert reader.next_event() == Cancel()
    assert not reader.cancel_ahead()
    assert reader.next_event() == Line(b"NOOP", End.CR, "cr")


@pytest.mark.parametrize(
    "data", [b"\x18" * 200_000, b"A\r" * 100_000 + b"\x18", b"\x98" * 200_000, b"A\r\x18" * 60_000]
)
def test_looking_ahead_is_cheap_whatever_comes(data: bytes) -> None:
    """Common practice: work grows with the input, not with its square; a square would take minutes here."""
    reader = LineReader(replace(PLAIN, charset="cp437"))
    reader.feed(data)
    started = time.perf_counter()
    while True:
        reader.cancel_ahead()
        if reader.next_event() is None:
            break
    assert time.perf_counter() - started < 10


def test_echo_of_a_long_line_is_cheap() -> None:
    reader = LineReader(replace(PLAIN, echo=True))
    reader.line_limit = limits.DATA_BYTES
    started = time.perf_counter()
    for _ in range(1000):
        reader.feed(b"x" * 1000)
        reader.next_event()
    assert time.perf_counter() - started < 2
    assert reader.take_output() == b"x" * 1_000_000


def test_echo_is_as_the_client_needs_it() -> None:
    echo = replace(PLAIN, echo=True)
    assert events(b"a\x1b\x07b\r", settings=echo)[1] == b"ab\r\n"
    assert events(b"ab\x9b", settings=echo)[1] == b"ab\x9b"
    assert events(b"ab\r", settings=replace(echo, eol="cr"))[1] == b"ab\r"
    assert events(b"ab\r", settings=replace(echo, eol="none"))[1] == b"ab"
    latin = replace(echo, charset="latin1", telnet="on")
    assert events(b"\xe9\xff\xff\r", settings=latin)[1] == b"\xe9\xff\xff\r\n"


@pytest.mark.parametrize("name", sorted(json.loads((CASES / "tcp-line-ends/script.json").read_text())))
def test_case_line_ends(name: str) -> None:
    script = json.loads((CASES / "tcp-line-ends/script.json").read_text())[name]
    expected = json.loads((CASES / "tcp-line-ends/expected.json").read_text())[name]
    pieces = [bytes.fromhex(step["send_hex"]) for step in script if "send_hex" in step]
    found = [line.decode("latin-1") for line in texts(*pieces) if line]
    assert len(found) == len(expected)
    assert [text for text in found if text.startswith("PING 2")] == ["PING 2"]
    assert all(got == want for got, want in zip(found, expected, strict=True) if "<" not in want)


def test_case_telnet_negotiation() -> None:
    script = json.loads((CASES / "tcp-telnet-negotiation-bytes/script.json").read_text())
    expected = json.loads((CASES / "tcp-telnet-negotiation-bytes/expected.json").read_text())
    pieces = [bytes.fromhex(step["send_hex"]) for step in script if "send_hex" in step]
    assert [line.decode() for line in texts(*pieces) if line] == expected["lines"]


SETTINGS = st.builds(
    Settings,
    charset=st.sampled_from(["ascii", "latin1", "cp437"]),
    bits=st.sampled_from([8, 7]),
    telnet=st.sampled_from(["auto", "on", "off"]),
    echo=st.booleans(),
)
INTERESTING = st.lists(
    st.one_of(
        st.binary(max_size=4),
        st.sampled_from(
            [
                b"\r",
                b"\n",
                b"\r\n",
                b"\x9b",
                b"\x18",
                b"\x08",
                b"\xff",
                b"\xfa",
                b"\xf0",
                b"LOG a b",
                b"A" * 250,
            ]
        ),
    ),
    max_size=30,
).map(b"".join)


@given(INTERESTING, SETTINGS, st.lists(st.integers(0, 400), max_size=12))
def test_how_the_bytes_are_cut_never_matters(data: bytes, settings: Settings, cuts: list[int]) -> None:
    edges = [0, *sorted(cut for cut in cuts if cut < len(data)), len(data)]
    pieces = [data[start:end] for start, end in pairwise(edges)]
    whole = events(data, settings=settings)
    assert events(*pieces, settings=settings) == whole
    assert events(*(bytes((byte,)) for byte in data), settings=settings) == whole
    for event in whole[0]:
        assert isinstance(event, Cancel) or len(event.data) <= limits.LINE_BYTES
