"""STORE and APPEND by a count: exactly so many raw bytes, however they come (CONTRACT sections 1 and 3)."""

import random
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import NoRoom
from gateway.session.wishes import DataWish
from tests.gateway.session.files.far import CLUB, Far, FarTalk, far_talk

OK = b"250 00000 000 ..\r\n"
GO = b"350 00000 000 ..\r\n"


@pytest.fixture
def talk() -> FarTalk:
    return far_talk(Far({CLUB + "a.txt": b"old\n"}))


ODD = bytes(range(256)) + b"\x18\r\n.\r\n>x\r\nBYE\r\n\xff\xff\xff\xfb\x01"


def test_counted_bytes_are_stored_as_they_are(talk: FarTalk) -> None:
    talk.raw(b"NOOP\r\n")
    assert talk.raw(b"STORE club:a.txt %d\r\n" % len(ODD)) == GO
    assert talk.raw(ODD[:-1]) == b""
    assert talk.url("a.txt") == b"old\n"
    assert talk.raw(ODD[-1:]) == OK
    assert talk.url("a.txt") == ODD
    assert talk.raw(b"NOOP\r\n")[:3] == b"200"


def test_counted_append(talk: FarTalk) -> None:
    talk.raw(b"APPEND club:a.txt 3\r")
    assert talk.raw(b"new") == OK
    assert talk.url("a.txt") == b"old\nnew"


def test_bytes_beyond_the_count_are_lines_again(talk: FarTalk) -> None:
    assert talk.raw(b"STORE club:a.txt 3\r") == GO
    assert talk.raw(b"abcNOOP x\rNOOP\r")[:36] == OK + b"200 00001 040 ..\r\n"


def test_a_count_of_none_is_answered_twice_at_once(talk: FarTalk) -> None:
    assert talk.raw(b"STORE club:a.txt 0\r\n") == GO + OK
    assert talk.url("a.txt") == b""
    assert talk.raw(b"NOOP\r\n")[:3] == b"200"


def test_counted_bytes_are_handed_on_in_parts(talk: FarTalk) -> None:
    count = limits.STAGE_BYTES * 2 + 5
    data = random.Random(1).randbytes(count)
    talk.raw(b"STORE club:a.txt %d\r" % count)
    for start in range(0, count, 1_000):
        talk.raw(data[start : start + 1_000])
    assert talk.url("a.txt") == data
    assert talk.far.trays[0].sizes == [limits.STAGE_BYTES, limits.STAGE_BYTES, 5]


def test_seven_bits_are_stripped_from_counted_bytes_too(talk: FarTalk) -> None:
    talk.raw(b"SET bits=7 telnet=on\r")
    talk.raw(b"STORE club:a.txt 4\r")
    assert talk.raw(b"\xc1\xff\x98\x8d") == OK
    assert talk.url("a.txt") == b"A\x7f\x18\x0d"


def test_telnet_is_touched_in_counted_bytes_only_when_on(talk: FarTalk) -> None:
    """RFC 854: IAC IAC is one FFh; RFC 1143: WILL is refused with DONT."""
    talk.raw(b"\xff\xfb\x01NOOP\r")  # the client has spoken telnet, and the setting is auto
    talk.session.reader.take_output()
    talk.raw(b"STORE club:a.txt 4\r")
    assert talk.raw(b"\xff\xff\xff\xfb") == OK
    assert talk.url("a.txt") == b"\xff\xff\xff\xfb"
    talk.raw(b"SET telnet=on\r")
    talk.raw(b"STORE club:a.txt 4\r")
    assert talk.raw(b"\xff\xff\xff\xfb\x01ab\xff\x05") == OK
    assert talk.session.reader.take_output() == b"\xff\xfe\x01"
    assert talk.url("a.txt") == b"\xffab\xff"
    assert talk.raw(b"\x08NOOP\r")[:3] == b"200"  # 05h, of the line after it, was rubbed out


def test_echo_gives_nothing_of_counted_bytes_back(talk: FarTalk) -> None:
    talk.raw(b"SET echo=on\r")
    talk.raw(b"STORE club:a.txt 3\r")
    talk.session.reader.take_output()
    talk.raw(b"abc")
    assert talk.session.reader.take_output() == b""


def test_no_room_for_counted_bytes_is_told_after_the_last(talk: FarTalk) -> None:
    talk.far.fault = lambda wish: NoRoom() if isinstance(wish, DataWish) else None
    talk.raw(b"STORE club:a.txt 200000\r")
    assert talk.raw(b"\r" * 199_999) == b""
    assert talk.raw(b"\r")[:3] == b"452"
    assert talk.far.trays[0].dropped
    assert talk.raw(b"NOOP\r")[:3] == b"200"


@pytest.mark.parametrize(
    ("first", "end", "data"),
    [
        (b"NOOP\r", b"\r", b"\nab"),  # lines that ended in CR alone: a LF is data
        (b"NOOP\r", b"\r", b"\0ab"),
        (b"NOOP\r\n", b"\r\n", b"\nab"),
        (b"NOOP\r\n", b"\r\n", b"\0ab"),
        (b"NOOP\r\0", b"\r\0", b"\nab"),
        (b"NOOP\n", b"\n", b"\rab"),
        (b"", b"\r\n", b"abc"),
        (b"", b"\r\0", b"abc"),
        (b"", b"\n", b"abc"),
    ],
)
def test_raw_bytes_may_begin_as_a_line_end_does(talk: FarTalk, first: bytes, end: bytes, data: bytes) -> None:
    """One line shows how a client ends its lines; only without any is a LF after CR taken for an end."""
    talk.raw(first)
    whole = b"STORE club:a.txt 3" + end + data + b"NOOP\r"
    for byte in whole:
        talk.raw(bytes((byte,)))
    assert talk.url("a.txt") == data


def test_raw_bytes_sent_behind_a_refused_store_are_not_run(talk: FarTalk) -> None:
    """CONTRACT section 3: they are for after the 350; a client that did not wait is safe too."""
    data = b"ERASE club:a.txt\r" * 2_000
    answer = talk.raw(b"STORE shelf:a %d\r\n" % len(data) + data[:5_000])
    assert answer[:3] == b"532"
    assert answer.count(b"\r\n") == 2
    assert talk.raw(data[5_000:]) == b""
    assert talk.url("a.txt") == b"old\n"
    assert talk.raw(b"NOOP\r")[:3] == b"200"


@pytest.mark.parametrize("end", [b"\r", b"\r\n", b"\n"])
def test_a_refused_store_is_followed_by_ordinary_requests(talk: FarTalk, end: bytes) -> None:
    assert talk.raw(b"STORE shelf:a 100" + end)[:3] == b"532"
    assert talk.raw(b"NOOP" + end)[:3] == b"200"


def test_raw_bytes_behind_words_that_are_wrong_are_dropped(talk: FarTalk) -> None:
    assert talk.raw(b"STORE club:a 5x\rERASE club:a.txt\r").count(b"\r\n") == 2
    assert talk.url("a.txt") == b"old\n"
    assert talk.raw(b"NOOP\r")[:3] == b"200"


# How the bytes are cut never matters


@st.composite
def scripts(draw: st.DrawFn) -> bytes:
    """Requests and transfers of a client that keeps to the contract, in its own line end."""
    end = draw(st.sampled_from([b"\r\n", b"\r", b"\n", b"\r\0"]))
    parts = [b"NOOP" + end]
    lines = st.binary(max_size=40).map(lambda data: data.translate(None, b"\r\n\x18\x9b"))
    for _ in range(draw(st.integers(1, 4))):
        match draw(st.integers(0, 4)):
            case 0:
                data = draw(st.binary(max_size=60))
                parts.append(b"STORE club:a.txt %d" % len(data) + end + data)
            case 1:
                body = b"".join(b">" + line + end for line in draw(st.lists(lines, max_size=4)))
                last = draw(st.sampled_from([b".", b"? .", b"BYE NOW", b">a\x18", b"NOOP"]))
                parts.append(b"APPEND club:b.txt" + end + body + last + end)
            case 2:
                parts.append(b"READ club:a.txt" + end + b"MORE" + end)
            case 3:
                parts.append(
                    b"STORE club:c.txt"
                    + end
                    + b">"
                    + b"x\x08y" * draw(st.integers(0, 3_000))
                    + end
                    + b"."
                    + end
                )
            case 4:
                parts.append(b"STORE shelf:a" + end + b">ERASE club:a.txt" + end)
    return b"".join(parts)


@given(scripts(), st.lists(st.integers(0, 12_000), max_size=12), st.sampled_from(["auto", "on", "off"]))
@example(b"NOOP\rSTORE club:a.txt 3\r\n\n\nNOOP\r", [], "auto")
def test_how_the_bytes_are_cut_never_matters(data: bytes, cuts: list[int], telnet: str) -> None:
    edges = [0, *sorted(cut for cut in cuts if cut < len(data)), len(data)]
    ways = [
        [data],
        [data[start:end] for start, end in pairwise(edges)],
        [data[place : place + 1] for place in range(len(data))],
    ]
    found = []
    for pieces in ways:
        talk = far_talk(Far({CLUB + "a.txt": b"old\n"}))
        talk.raw(f"SET telnet={telnet} charset=latin1\r\n".encode())
        answer = b"".join(talk.raw(piece) for piece in pieces)
        talk.session.lost()
        delivered = [bytes(tray.data) for tray in talk.far.trays]
        found.append((answer, talk.far.documents, delivered, talk.session.reader.take_output()))
    assert found[0] == found[1] == found[2]


@given(st.binary(max_size=300), st.integers(1, 7))
def test_any_bytes_come_back_as_they_were(data: bytes, step: int) -> None:
    talk = far_talk()
    talk.raw(b"SET bytes=raw telnet=off\r\n")
    talk.raw(b"STORE club:x %d\r\n" % len(data))
    for start in range(0, len(data), step):
        talk.raw(data[start : start + step])
    assert talk.url("x") == data
    shown = talk.raw(b"READ club:x\r\n")
    assert shown[18:] == data
    assert int(shown[4:9]) == len(data)


@pytest.mark.parametrize(
    "line", [b'STORE "club:x 20', b"STORE club:x\x01 20", b"? app club:" + b"x" * 300 + b" 20"]
)
def test_what_waits_behind_a_line_that_cannot_be_read_is_not_run(talk: FarTalk, line: bytes) -> None:
    before = dict(talk.far.documents)
    assert before
    talk.raw(line + b"\r\nERASE club:a.txt\r\n")
    assert talk.far.documents == before
    assert talk.status("NOOP")[:3] == "200"
    talk.raw(b'NOOP "x\r\nERASE club:a.txt\r\n')  # but a line that stores nothing has no data behind it
    assert talk.far.documents != before


def test_no_counted_bytes_from_a_client_whose_line_has_flow_control(talk: FarTalk) -> None:
    """11h and 13h would be flow control and data both (CONTRACT section 5: 503 with raw bytes)."""
    talk.raw(b"SET flow=xon\r")
    for line in (b"STORE club:a.txt 3\r", b"APPEND club:a.txt 0\r"):
        assert talk.raw(line)[:3] == b"503"
    assert talk.raw(b"STORE club:b.txt\r") == GO
    assert talk.raw(b">x\r.\r") == OK
    talk.raw(b"SET flow=none\r")
    assert talk.raw(b"STORE club:a.txt 3\r") == GO
    assert talk.raw(b"\x11\x13\x11") == OK
    assert talk.url("a.txt") == b"\x11\x13\x11"


def test_counted_bytes_refused_for_flow_control_are_not_run_as_requests(talk: FarTalk) -> None:
    talk.raw(b"SET flow=xon\r")
    answer = talk.raw(b"STORE club:a.txt 5\rBYE\r\x13NOOP\r")
    assert answer[:3] == b"503"
    assert answer.endswith(b"200 00000 000 ..\r\n")
    assert not talk.session.closing
