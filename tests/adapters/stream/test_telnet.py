"""Telnet without a network: RFC 854 (text, CR), 855 (options), 856 to 858, 1073 and 1091."""

import warnings
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.stream.telnet import Telnet
from adapters.streams import Terminal

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    try:
        import telnetlib  # a second opinion, as long as Python has it (until 3.12)
    except ImportError:  # pragma: no cover - newer Pythons
        telnetlib = None  # type: ignore[assignment]

IAC, DONT, DO, WONT, WILL, SB, SE = b"\xff", b"\xfe", b"\xfd", b"\xfc", b"\xfb", b"\xfa", b"\xf0"  # RFC 854
BINARY, ECHO, GO_AHEAD, STATUS, KIND, SIZE, LINES = (
    b"\x00",
    b"\x01",
    b"\x03",
    b"\x05",
    b"\x18",
    b"\x1f",
    b"\x22",
)
ASK_KIND = IAC + SB + KIND + b"\x01" + IAC + SE  # RFC 1091: SEND


def telnet(columns: int = 40, rows: int = 24, *kinds: str) -> Telnet:
    return Telnet(Terminal(columns, rows, "GLASS-40"), kinds)


def is_kind(name: bytes) -> bytes:
    return IAC + SB + KIND + b"\x00" + name + IAC + SE


@pytest.mark.parametrize(
    ("far", "answer"),
    [
        (IAC + WILL + ECHO, IAC + DO + ECHO),  # RFC 857
        (IAC + WILL + GO_AHEAD, IAC + DO + GO_AHEAD),  # RFC 858
        (IAC + DO + GO_AHEAD, IAC + WILL + GO_AHEAD),
        (IAC + WILL + BINARY, IAC + DO + BINARY),  # RFC 856
        (IAC + DO + BINARY, IAC + WILL + BINARY),
        (IAC + DO + KIND, IAC + WILL + KIND),
        (IAC + DO + ECHO, IAC + WONT + ECHO),  # we are no server
        (IAC + WILL + KIND, IAC + DONT + KIND),
        (IAC + WILL + STATUS, IAC + DONT + STATUS),
        (IAC + DO + LINES, IAC + WONT + LINES),
        (IAC + DO + b"\xff", IAC + WONT + b"\xff"),  # option 255 (RFC 861)
        (IAC + WONT + ECHO, b""),
        (IAC + DONT + STATUS, b""),
        (IAC + WILL + ECHO + IAC + WILL + ECHO, IAC + DO + ECHO),  # said twice, acknowledged once
        (IAC + DO + KIND + IAC + SB + KIND + IAC * 2 + ASK_KIND[4:], IAC + WILL + KIND),  # FFh, no SEND
        (IAC + b"\xf6", IAC + b"\xf1"),  # are you there: a NOP
        (IAC + b"\xf9", b""),  # go ahead
        (IAC + b"\xf1", b""),
        (IAC + b"\xf2", b""),  # the data mark
        (IAC + SE, b""),
        (ASK_KIND, b""),  # not agreed before
        (IAC + SB + SIZE + b"\0\x50\0\x18" + IAC + SE, b""),  # not ours to hear
    ],
)
def test_what_is_answered(far: bytes, answer: bytes) -> None:
    end = telnet()
    assert end.receive(b"a" + far + b"b") == b"ab"
    assert end.answers() == answer
    assert end.answers() == b""


def test_nothing_is_said_to_a_server_that_asks_nothing() -> None:
    end = telnet()
    assert end.receive(b"Welcome\r\n") == b"Welcome\r\n"
    assert end.answers() == b""
    assert end.send(b"hello\r\n") == b"hello\r\n"


@pytest.mark.parametrize(
    ("columns", "rows", "said"),
    [
        # The examples of RFC 1073, and a size that is not known.
        (80, 24, b"\0\x50\0\x18"),
        (80, 64, b"\0\x50\0\x40"),
        (0, 0, b"\0\0\0\0"),
        (255, 24, b"\0\xff\xff\0\x18"),  # IAC is doubled
        (0x1FF, 0xFFFF, b"\x01\xff\xff\xff\xff\xff\xff"),
        (70_000, 24, b"\xff\xff\xff\xff\0\x18"),
    ],
)
def test_the_size_is_told_to_who_asks(columns: int, rows: int, said: bytes) -> None:
    end = telnet(columns, rows)
    for _ in range(2):
        end.receive(IAC + DO + SIZE)
        assert end.answers() == IAC + WILL + SIZE + IAC + SB + SIZE + said + IAC + SE
        end.receive(IAC + DO + SIZE)
        assert end.answers() == b""
        end.receive(IAC + DONT + SIZE)
        assert end.answers() == IAC + WONT + SIZE


def test_names_of_a_terminal_come_round() -> None:
    """RFC 1091: each SEND the next name; the last comes twice, and then the first again."""
    end = telnet(40, 24, "GLASS-40", "GLASS", "DUMB")
    end.receive(IAC + DO + KIND)
    end.answers()
    told = []
    for _ in range(9):
        end.receive(ASK_KIND)
        told.append(end.answers())
    names = [b"GLASS-40", b"GLASS", b"DUMB", b"DUMB"]
    assert told == [is_kind(name) for name in (*names, *names, b"GLASS-40")]


def test_after_the_option_was_off_the_first_name_comes_first() -> None:
    end = telnet(40, 24, "GLASS-40", "GLASS")
    end.receive(IAC + DO + KIND + ASK_KIND + IAC + DONT + KIND + IAC + DO + KIND)
    end.answers()
    end.receive(ASK_KIND)
    assert end.answers() == is_kind(b"GLASS-40")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("", b"UNKNOWN"),
        ("caf\u00e9 \xff\r\n", b"caf"),
        ("X" * 41, b"X" * 40),  # RFC 1091: at most 40 characters
    ],
)
def test_a_name_is_plain_and_short(name: str, told: bytes) -> None:
    end = Telnet(Terminal(kind=name))
    end.receive(IAC + DO + KIND + ASK_KIND)
    assert end.answers() == IAC + WILL + KIND + is_kind(told)


@pytest.mark.parametrize(
    ("far", "text"),
    [
        (b"a\r\nb", b"a\r\nb"),  # RFC 854: CR LF is a line's end
        (b"a\r\0b", b"a\rb"),  # CR NUL is a CR
        (b"a\r\0\0b\0", b"a\r\0b\0"),  # other NULs are text
        (b"a\r" + IAC + b"\xf1\0b", b"a\rb"),
        (b"a\r" + IAC + IAC + b"\0", b"a\r\xff\0"),
        (b"\r\r\0\r\n", b"\r\r\r\n"),
        (b"caf\xe9" + IAC + IAC, b"caf\xe9\xff"),  # eight bits without a word about it
        (IAC + WILL + BINARY + b"a\r\0b", b"a\r\0b"),  # RFC 856
        (IAC + WILL + BINARY + b"a\r" + IAC + WONT + BINARY + b"\0b\r\0", b"a\r\0b\r"),
        (IAC + SB + b"\x63" + b"x" * 9_999 + IAC + IAC + b"y\xff\xf1z" + IAC + SE + b"text", b"text"),
        (b"a" + IAC + b"\x80" + b"b", b"a\xff\x80b"),  # no command: not from a telnet server, perhaps
    ],
)
def test_text_of_the_far_end(far: bytes, text: bytes) -> None:
    assert telnet().receive(far) == text


@pytest.mark.parametrize(
    ("pieces", "sent"),
    [
        ([b"a\r\nb"], b"a\r\nb"),
        ([b"a\rb"], b"a\r\0b"),
        ([b"a\r", b"\nb"], b"a\r\nb"),
        ([b"a\r", b"", b"b"], b"a\r\0b"),
        ([b"\r\r\n\r"], b"\r\0\r\n\r\0"),
        ([b"\xff\r\xff"], b"\xff\xff\r\0\xff\xff"),
        ([b"\r\0"], b"\r\0\0"),  # the client's own NUL is text
        ([b"a\nb\0"], b"a\nb\0"),
    ],
)
def test_text_for_the_far_end(pieces: list[bytes], sent: bytes) -> None:
    end = telnet()
    assert b"".join(map(end.send, pieces)) + end.settle() == sent


def test_a_cr_goes_at_once_and_what_it_is_owed_when_it_is_known() -> None:
    end = telnet()
    assert (end.send(b"a\r"), end.owes) == (b"a\r", True)
    assert (end.settle(), end.owes) == (b"\0", False)
    assert (end.settle(), end.send(b"\n")) == (b"", b"\n")


def test_in_binary_a_cr_is_a_byte_like_others() -> None:
    end = telnet()
    assert end.send(b"a\r") == b"a\r"
    end.receive(IAC + DO + BINARY)
    assert end.send(b"\r\xff\r") == b"\0\r\xff\xff\r"  # what was owed from before first
    assert not end.owes


WHOLE = (
    *(IAC + verb + option for verb in (WILL, WONT, DO, DONT) for option in (BINARY, ECHO, KIND, SIZE, LINES)),
    ASK_KIND,
    IAC + IAC,
)
wire = st.binary(max_size=12) | st.sampled_from(
    [*WHOLE, IAC + b"\xf6", b"\r\0", b"\r\n", b"\r", b"\0", IAC, IAC + SB, IAC + SE]
)
plain = st.binary(max_size=12).map(lambda data: data.translate(None, b"\0\x11\xff"))
conversations = st.lists(wire, max_size=30).map(b"".join)


@given(data=conversations, cuts=st.lists(st.integers(0, 300), max_size=20))
def test_how_the_far_ends_bytes_are_cut_never_matters(data: bytes, cuts: list[int]) -> None:
    whole = telnet()
    expected = whole.receive(data), whole.answers()
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    for pieces in (
        [data[start:end] for start, end in pairwise(edges)],
        [data[each : each + 1] for each in range(len(data))],
    ):
        end = telnet()
        text = b"".join(map(end.receive, pieces))
        assert (text, end.answers()) == expected


@given(
    data=st.text(alphabet="a\r\n\0\xff").map(lambda text: text.encode("latin-1")),
    cuts=st.sets(st.integers(0, 40)),
)
def test_how_the_text_to_send_is_cut_never_matters(data: bytes, cuts: set[int]) -> None:
    whole, end = telnet(), telnet()
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    pieces = [data[start:stop] for start, stop in pairwise(edges)]
    assert b"".join(map(end.send, pieces)) + end.settle() == whole.send(data) + whole.settle()


@given(data=st.binary() | conversations)
def test_anything_is_taken_and_answered_in_measure(data: bytes) -> None:
    end = telnet(0xFFFF, 0xFFFF, "X" * 40)
    assert len(end.receive(data)) <= len(data)
    assert len(end.answers()) <= 8 * len(data)  # SEND is 6 bytes, and a name with what is around it 46
    assert len(end._block) <= limits.TELNET_BLOCK_BYTES


@given(data=st.binary(), binary=st.booleans())
def test_what_is_sent_is_what_the_far_end_takes_out_again(data: bytes, binary: bool) -> None:
    near, far = telnet(), telnet()
    if binary:
        near.receive(IAC + DO + BINARY)
        far.receive(IAC + WILL + BINARY)
    assert far.receive(near.send(data) + near.settle()) == data


@pytest.mark.skipif(telnetlib is None, reason="telnetlib left the standard library with Python 3.13")
@given(data=st.lists(plain | st.sampled_from(WHOLE), max_size=20).map(b"".join))
def test_a_second_opinion_on_which_bytes_are_commands(data: bytes) -> None:
    """telnetlib's own reader, fed by hand; NUL and 11h, which it drops from text, are left out."""
    said: list[tuple[bytes, bytes]] = []
    other = telnetlib.Telnet()
    other.set_option_negotiation_callback(lambda sock, verb, option: said.append((verb, option)))
    other.rawq = data  # type: ignore[attr-defined]
    other.process_rawq()
    end = telnet()
    heard: list[tuple[bytes, bytes]] = []
    hear = end.options.hear

    def noting(side, option, *, yes):  # type: ignore[no-untyped-def]
        heard.append((bytes((end._verb,)), bytes((option,))))
        return hear(side, option, yes=yes)

    end.options.hear = noting  # type: ignore[method-assign]
    assert end.receive(data) == other.cookedq  # type: ignore[attr-defined]
    assert heard == [each for each in said if each[0] in {WILL, WONT, DO, DONT}]
