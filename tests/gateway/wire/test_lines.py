"""The reader against CONTRACT section 1, RFC 854/855/1143, and the byte scripts of the cases."""

import copy
import json
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.wire.lines import Cancel, Data, End, Event, Line, LineReader, Pause
from gateway.wire.settings import Settings

CASES = Path(__file__).parents[2] / "cases"
PLAIN = Settings()
SETTINGS = st.builds(
    Settings,
    charset=st.sampled_from(["ascii", "latin1", "cp437", "caseswap", "cp864"]),
    bits=st.sampled_from([8, 7]),
    telnet=st.sampled_from(["auto", "on", "off"]),
    echo=st.booleans(),
)


def events(*pieces: bytes, settings: Settings = PLAIN) -> tuple[list[Event], bytes]:
    reader, output = LineReader(settings), b""
    found: list[Event] = []
    for piece in pieces:
        reader.feed(piece)
        while (event := reader.next_event()) is not None:
            if not isinstance(event, Pause):
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


@pytest.mark.parametrize(
    ("eol", "ended", "echoed"),
    [
        ("mirror", b"\n", b"\n"),
        ("mirror", b"\x9b", b"\x9b"),
        ("mirror", b"\r", b"\r\n"),  # until a byte behind an earlier CR has shown otherwise
        ("cr", b"\n", b"\r"),
        ("cr", b"\x9b", b"\x9b"),
    ],
)
def test_the_end_of_a_line_is_echoed_as_replies_end(eol: str, ended: bytes, echoed: bytes) -> None:
    assert events(b"NOOP" + ended, settings=replace(PLAIN, echo=True, eol=eol))[1] == b"NOOP" + echoed


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


FLOODS = {
    "nul": b"\0",
    "xon": b"\x11\x13",
    "rub out": b"\x08",
    "will": b"\xff\xfb\x01",
    "no operation": b"\xff\xf1",
    "line ends of another charset": b"a\x9b",
    "erase": b"a\xff\xf8",
    "block": b"\xff\xfa\x18\xff\xff\xff\xf0",
}


@pytest.mark.parametrize("flood", FLOODS.values(), ids=FLOODS)
@pytest.mark.parametrize("raw", [False, True])
def test_what_makes_no_event_is_gone_through_in_small_steps(flood: bytes, raw: bool) -> None:
    """A step is a few bytes, or many that are dropped at once: their number bounds what a call takes."""
    reader = LineReader(replace(PLAIN, charset="cp437", telnet="on" if raw else "auto"))
    if raw:
        reader.expect(1_000_000)
    reader.feed(flood * (200_000 // len(flood)) + (b"" if raw else b"\r"))
    found: list[Event] = []
    before = reader.pending
    while (event := reader.next_event()) is not None:
        gone, before = before - reader.pending, reader.pending
        if isinstance(event, Pause):
            assert 0 < gone <= limits.READER_STEPS * len(flood)
            assert reader.pending
        else:
            found.append(event)
    assert reader.pending == 0
    if not raw:
        assert len(found) == 1
        assert isinstance(found[0], Line)


def test_a_pause_changes_nothing_of_what_comes_behind_it() -> None:
    data = b"TI" + b"\xff\xfb\x01" * limits.READER_STEPS + b"x\x08" * limits.READER_STEPS + b"ME\r"
    assert texts(data) == [b"TIME"]
    reader = LineReader(PLAIN)
    reader.feed(data)
    assert isinstance(reader.next_event(), Pause)


def test_98h_is_a_cancel_only_where_bit_7_is_stripped() -> None:
    for bits, cancels in ((7, True), (8, False)):
        reader = LineReader(replace(PLAIN, charset="cp437", bits=bits))
        reader.feed(b"NOOP\r\x98")
        assert reader.cancel_ahead() is cancels


@given(
    st.lists(
        st.sampled_from(
            [
                *(b"\x18", b"\x98", b"\xff", b"\xff\xff", b"\xfa", b"\xff\xfa", b"\xf0", b"\xff\xf0"),
                *(b"\xfb", b"\xff\xfe", b"\xf1", b"A", b"\r", b"\n", b"\0", b"\x9b"),
            ]
        ),
        max_size=24,
    ).map(b"".join),
    SETTINGS,
    st.integers(0, 12),
    st.one_of(st.none(), st.integers(0, 6)),
    st.lists(st.integers(0, 24), max_size=4),
)
def test_a_cancel_is_seen_ahead_exactly_where_reading_on_gives_one(
    data: bytes, settings: Settings, taken: int, raw: int | None, cuts: list[int]
) -> None:
    reader = LineReader(settings)
    if raw is not None:
        reader.expect(raw)
    for start, end in pairwise([0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]):
        reader.feed(data[start:end])
        for _ in range(taken % 3):
            reader.next_event()
        ahead = copy.deepcopy(reader)
        coming = any(isinstance(event, Cancel) for event in all_events(ahead))
        assert reader.cancel_ahead() is coming
        taken //= 2


@pytest.mark.parametrize(
    "flood", [b"\xff\xfb\x18", b"\xff\xf1", b"\xff\xff", b"\xff\xfa\x18\xff\xf0", b"\x98"]
)
def test_looking_ahead_costs_little(flood: bytes) -> None:
    """A walk through every byte took some 450 ms on the machine where this takes 1 to 25."""
    reader = LineReader(replace(PLAIN, charset="cp437"))
    reader.feed(b"NOOP\r" + flood * (262_144 // len(flood)) + b"\xff\xfb\x18")
    best = 9.0
    for _ in range(3):
        reader._cancel = None
        started = time.perf_counter()
        assert not reader.cancel_ahead()
        best = min(best, time.perf_counter() - started)
    assert best < 0.15


def test_looking_behind_raw_bytes_full_of_negotiation_costs_little() -> None:
    """RFC 854's no operation between all of them; a walk through all took some 140 ms."""
    reader = LineReader(replace(PLAIN, telnet="on"))
    reader.expect(100_000)
    reader.feed(b"a\xff\xf1" * 90_000)
    reader.feed(b"a" * 100_000 + b"\x18")
    best = 9.0
    for _ in range(3):
        reader._cancel = None
        started = time.perf_counter()
        reader.cancel_ahead()
        best = min(best, time.perf_counter() - started)
    assert best < 0.07
    found = all_events(reader)
    assert sum(len(event.data) for event in found if isinstance(event, Data)) == 100_000
    assert found[-1] == Cancel()


def test_a_cancel_is_seen_behind_as_many_raw_bytes_as_are_read_ahead() -> None:
    reader = LineReader(replace(PLAIN, telnet="on"))
    size = limits.PIPELINE_BYTES + 262_144
    reader.expect(size)
    reader.feed(b"a" * size + b"\x18")
    assert reader.cancel_ahead()


def test_echo_of_a_long_line_is_cheap() -> None:
    reader = LineReader(replace(PLAIN, echo=True))
    assert reader.line_limit == limits.LINE_BYTES
    reader.line_limit = limits.DATA_BYTES
    assert reader.line_limit == limits.DATA_BYTES
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


# Data


def data_reader(settings: Settings = PLAIN) -> LineReader:
    reader = LineReader(settings)
    reader.data_lines = True
    return reader


def all_events(reader: LineReader) -> list[Event]:
    found: list[Event] = []
    while (event := reader.next_event()) is not None:
        if not isinstance(event, Pause):
            found.append(event)
    return found


def test_a_long_data_line_comes_in_parts() -> None:
    reader = data_reader()
    text = b"0123456789" * 1_000
    reader.feed(b"? >" + text + b"\r>short\r")
    *parts, end, short = all_events(reader)
    assert all(isinstance(part, Data) and not part.counted for part in parts)
    assert isinstance(end, Line)
    assert end.continued
    assert b"".join(part.data for part in parts if isinstance(part, Data)) + end.data == text
    assert short == Line(b">short", End.CR, "cr")


def test_only_data_lines_may_be_long() -> None:
    reader = data_reader()
    reader.feed(b"x" * 10_000 + b"\r")
    (line,) = all_events(reader)
    assert isinstance(line, Line)
    assert (line.overlong, line.continued, len(line.data)) == (True, False, limits.LINE_BYTES)


def test_a_part_keeps_what_can_still_be_rubbed_out() -> None:
    reader = data_reader()
    size = limits.PIECE_BYTES + limits.LINE_BYTES
    reader.feed(b">" + b"a" * (size - 1) + b"\x08" * limits.LINE_BYTES + b"\r")
    part, line = all_events(reader)
    assert isinstance(part, Data)
    assert len(part.data) == limits.PIECE_BYTES - 1
    assert line == Line(b"", End.CR, "crlf", continued=True)
    reader.feed(b">" + b"a" * (size - 1) + b"\x08" * (limits.LINE_BYTES + 1) + b"\r")
    _, line = all_events(reader)
    assert isinstance(line, Line)
    assert line.overlong


def test_telnet_erases_no_line_that_was_given_away() -> None:
    """RFC 854, EL: the whole line is to go, which is not possible any more."""
    reader = data_reader()
    reader.feed(b">" + b"a" * 10_000 + b"\xff\xf8b\r")
    *_, line = all_events(reader)
    assert isinstance(line, Line)
    assert line.overlong


def test_raw_bytes_by_their_count() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"GO\r\n")
    assert len(all_events(reader)) == 1
    reader.expect(6)
    reader.feed(b"\x18\x08\r")
    assert all_events(reader) == [Data(b"\x18\x08\r", counted=True)]
    assert not reader.cancel_ahead()
    reader.feed(b"\n\xff\0NOOP\r")
    assert all_events(reader) == [Data(b"\n\xff\0", counted=True), Line(b"NOOP", End.CR, "crlf")]


def test_no_more_raw_bytes_than_expected_where_telnet_doubles_some() -> None:
    """RFC 854: two IAC are one byte of data."""
    reader = LineReader(replace(PLAIN, telnet="on"))
    reader.feed(b"GO\r\n")
    all_events(reader)
    reader.expect(5)
    reader.feed(b"ab\xff\xffcdNOOP\r")
    assert all_events(reader) == [Data(b"ab\xffcd", counted=True), Line(b"NOOP", End.CR, "crlf")]


def test_a_count_of_none_is_an_event_too() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"GO\r")
    assert len(all_events(reader)) == 1
    reader.expect(0)
    reader.feed(b"\nNOOP\r")
    assert all_events(reader) == [Data(b"", counted=True), Line(b"NOOP", End.CR, "crlf")]


def test_a_cancel_among_raw_bytes_is_none_and_one_behind_them_is_one() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"GO\r\n")
    all_events(reader)
    reader.expect(3)
    reader.feed(b"\x18\x18")
    assert not reader.cancel_ahead()
    reader.feed(b"\x18NO")
    assert not reader.cancel_ahead()
    reader.feed(b"\x18")
    assert reader.cancel_ahead()
    assert all_events(reader) == [
        Data(b"\x18\x18\x18", counted=True),
        Cancel(),
    ]
    assert not reader.cancel_ahead()


def test_a_cancel_seen_before_the_bytes_were_expected_is_data() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"GO\r\n\x18ab")
    assert reader.cancel_ahead()
    assert isinstance(reader.next_event(), Line)
    reader.expect(3)
    assert not reader.cancel_ahead()
    assert all_events(reader) == [Data(b"\x18ab", counted=True)]


def test_what_waits_behind_a_line_is_told_from_the_lines_own_end() -> None:
    for end, waits in ((b"\r", False), (b"\r\n", False), (b"\r\n\n", True), (b"\rx", True), (b"\n\r", False)):
        reader = LineReader(PLAIN)
        reader.feed(b"GO" + end)
        assert isinstance(reader.next_event(), Line)
        assert reader.waiting == waits
        reader.discard()
        assert not reader.waiting
        assert all_events(reader) == []
    seven = LineReader(replace(PLAIN, bits=7))
    seven.feed(b"GO\x8d\x8a")
    assert isinstance(seven.next_event(), Line)
    assert not seven.waiting


@given(
    st.one_of(
        st.binary(max_size=80),
        st.lists(
            st.sampled_from(
                [b"ab", b"\xff\xff", b"\xff", b"\xfb\x01", b"\xff\xfa\x18\xff\xff\xff\xf0", b"\n", b"\x05"]
            )
        ).map(b"".join),
    ),
    st.integers(0, 60),
    st.sampled_from(["auto", "on", "off"]),
    st.sampled_from([7, 8]),
)
def test_raw_bytes_come_alike_whole_and_byte_by_byte(data: bytes, count: int, telnet: str, bits: int) -> None:
    settings = replace(PLAIN, telnet=telnet, bits=bits, charset="latin1")
    found = []
    for pieces in ([data], [data[place : place + 1] for place in range(len(data))]):
        reader, raw, rest, output = LineReader(settings), b"", [], b""
        reader.feed(b"A\r")
        all_events(reader)
        reader.expect(count)
        for piece in [*pieces, b"", b"\r"]:
            reader.feed(piece)
            for event in all_events(reader):
                if isinstance(event, Data):
                    raw += event.data
                else:
                    rest.append(event)
            output += reader.take_output()
        found.append((raw, rest, output))
        assert len(raw) <= count
        if telnet != "on" and bits == 8:
            swallowed = data[:1] in {b"\n", b"\0"} and count > 0
            assert raw == (data + b"\r")[swallowed:][:count]
    assert found[0] == found[1]


@given(
    st.lists(
        st.sampled_from([b">", b"? >", b"a" * 300, b"b" * 4_000, b"\r", b"\x08" * 200, b"\x18", b"\xff\xf8"])
    ).map(b"".join)
)
def test_parts_are_cut_alike_whole_and_byte_by_byte(data: bytes) -> None:
    whole, single = data_reader(), data_reader()
    whole.feed(data)
    found = all_events(whole)
    one_by_one: list[Event] = []
    for byte in data:
        single.feed(bytes((byte,)))
        one_by_one += all_events(single)
    assert one_by_one == found


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
        assert not isinstance(event, Line | Data) or len(event.data) <= limits.LINE_BYTES


# Flow control


XON_XOFF = replace(PLAIN, flow="xon")


@pytest.mark.parametrize(
    ("pieces", "held"),
    [
        ([b"\x13"], True),
        ([b"\x13", b"\x11"], False),
        ([b"NOOP\r\x13NO"], True),
        ([b"\x13", b"\x18"], False),  # CAN: nothing is being sent any more
        ([b"\x18\x13"], True),
        ([b"\xff\xfd\x13"], False),  # an option's number (RFC 855)
        ([b"\xff\xfd", b"\x13"], False),
        ([b"\xff\xfa\x13\xff", b"\xf0"], False),
        ([b"\xff\xff\x13"], True),
        ([b"\x93"], False),
    ],
)
def test_flow_control_holds_as_soon_as_it_comes(pieces: list[bytes], held: bool) -> None:
    """13h is DC3 and 11h DC1 of ISO 646 (common practice: XOFF and XON)."""
    for read_between in (False, True):
        reader = LineReader(XON_XOFF)
        for piece in pieces:
            reader.feed(piece)
            if read_between:
                all_events(reader)
        assert reader.held is held
        all_events(reader)
        assert reader.held is held
        assert all(b"\x13" not in event.data for event in all_events(reader) if isinstance(event, Line))


def test_flow_control_of_seven_bits() -> None:
    reader = LineReader(replace(XON_XOFF, bits=7, telnet="on"))
    reader.feed(b"\xff\xfd\x93")  # with bit 7 stripped there is no telnet
    assert reader.held
    reader.feed(b"\x91")
    assert not reader.held


def test_without_the_setting_there_is_no_flow_control() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"\x13NOOP\r")
    assert not reader.held
    assert all_events(reader) == [Line(b"NOOP", End.CR, "crlf")]
    reader.settings = XON_XOFF
    assert not reader.held


def test_flow_control_behind_the_line_that_sets_it() -> None:
    reader = LineReader(PLAIN)
    reader.feed(b"SET flow=xon\r\x13NOOP\r")
    assert isinstance(reader.next_event(), Line)
    reader.settings = XON_XOFF
    assert reader.held
    reader.feed(b"\x11")
    assert not reader.held


def test_a_client_that_turns_flow_control_off_waits_no_longer() -> None:
    reader = LineReader(XON_XOFF)
    reader.feed(b"\x13SET flow=none\r")
    assert isinstance(reader.next_event(), Line)
    reader.settings = PLAIN
    assert reader.next_event() is None
    reader.settings = XON_XOFF
    assert not reader.held


def test_flow_control_is_none_inside_raw_bytes() -> None:
    reader = LineReader(XON_XOFF)
    reader.expect(3)
    found = []
    for _ in range(2):
        reader.feed(b"\x13\x13")
        found.append(reader.held)
    assert found == [False, True]
    assert all_events(reader) == [Data(b"\x13\x13\x13", counted=True)]


def test_a_client_that_is_released_waits_no_longer() -> None:
    reader = LineReader(XON_XOFF)
    reader.feed(b"NOOP\r\x13")
    reader.release()
    assert not reader.held
    assert len(all_events(reader)) == 1
    assert not reader.held


@given(
    st.lists(st.lists(st.sampled_from(list(b"\x11\x13\x18\xff\xfb\xf1\x91\x93A\r\n\x08")), min_size=1)),
    st.lists(st.booleans()),
    st.sampled_from(["auto", "on", "off"]),
    st.sampled_from([7, 8]),
)
def test_flow_control_that_was_heard_may_be_forgotten(
    pieces: list[list[int]], turns: list[bool], telnet: str, bits: int
) -> None:
    """It changes neither what is read nor who is held."""
    reader, forgetful = (LineReader(replace(XON_XOFF, telnet=telnet, bits=bits)) for _ in range(2))
    for piece, turn in zip(pieces, [*turns, *[False] * len(pieces)], strict=False):
        reader.feed(bytes(piece))
        forgetful.feed(bytes(piece))
        forgetful.drop_flow()
        assert forgetful.pending <= reader.pending + 1
        assert forgetful.held is reader.held
        if turn:
            assert forgetful.next_event() == reader.next_event()
            assert forgetful.cancel_ahead() is reader.cancel_ahead()
    while (event := reader.next_event()) is not None:
        assert forgetful.next_event() == event
    assert forgetful.next_event() is None
    assert forgetful.take_output() == reader.take_output()
    assert forgetful.held is reader.held


@pytest.mark.parametrize("bits", [7, 8])
def test_any_amount_of_flow_control_is_forgotten(bits: int) -> None:
    reader = LineReader(replace(XON_XOFF, bits=bits))
    reader.feed(b"NOOP\r\x18" + b"\x13\x11" * 10_000 + b"\x13")
    reader.drop_flow()
    assert reader.pending < 10
    assert reader.held
