"""Windows: so many lines, then silence until the client has caught up (CONTRACT section 5, `window`)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.session.windows import Window, rest_of
from gateway.wire.replies import Reply, encode_lines
from gateway.wire.settings import Settings
from tests.gateway.session.conftest import Talk

END = b"\r\n"
TIDES = [b"200 00003 018 .*", b"04:12 Quay    3.90", b"10:27 Mole: A 1,25", b"16:40 Quay   *****"]


def lines(answer: bytes) -> list[bytes]:
    assert not answer or answer.endswith(END)
    return answer.split(END)[:-1]


@pytest.fixture
def slow(talk: Talk) -> Talk:
    """A client that takes two lines at a time."""
    assert lines(talk.raw(b"SET window=2\r")) == [b"200 00000 000 .."]
    return talk


@given(st.integers(0, 12), st.integers(1, 15))
def test_every_line_goes_out_once_and_in_order(count: int, size: int) -> None:
    reply = Reply(200, Settings(), [f"{number:02}" for number in range(count)], 2)
    window, sent, turns = Window(reply, size, END, False), [], 0
    while True:
        part = list(window.lines())
        assert part == list(window.lines())
        assert 1 <= len(part) <= size
        sent += part
        turns += 1
        if not window.advance():
            break
    assert sent == list(encode_lines(reply, END, False))
    assert turns == -(-(count + 1) // size)


def test_bare_bytes_are_one_line() -> None:
    reply = Reply(200, Settings(), width=1, raw=b"x" * 20_000)
    window = Window(reply, 1, END, False)
    assert list(window.lines()) == [b"200 20000 001 ..\r\n"]
    assert window.advance()
    assert b"".join(window.lines()) == b"x" * 20_000
    assert not window.advance()


def test_the_rest_of_a_page_is_a_reply_of_its_own() -> None:
    page = Reply(200, Settings(), ["a", "b", "c"], 1, more=True, flag="C")
    rest = rest_of(page, "2")
    assert rest.status_line == "200 00002 001 +C"
    assert list(rest.records) == ["b", "c"]
    assert rest.records[0:1] == ["b"]
    assert rest_of(Reply(200, Settings(), width=1, raw=b"abc"), "3").raw == b"c"


def test_an_empty_line_brings_the_next_lines(slow: Talk) -> None:
    assert lines(slow.raw(b"ASK tides\r")) == TIDES[:2]
    assert lines(slow.raw(b"\r")) == TIDES[2:]
    assert slow.raw(b"\r") == b""  # the wait after the last window is over
    assert slow.raw(b"\r") == b""


@pytest.mark.parametrize("empty", [b"\r\n", b"? \r", b"  \r", b"?\r"])
def test_what_counts_as_an_empty_line(slow: Talk, empty: bytes) -> None:
    slow.raw(b"ASK tides\r")
    assert lines(slow.raw(empty)) == TIDES[2:]


def test_again_resends_the_window_status_line_and_all(slow: Talk) -> None:
    slow.raw(b"ASK tides\r")
    assert lines(slow.raw(b"AGAIN\r")) == TIDES[:2]
    assert lines(slow.raw(b"AGAIN\r")) == TIDES[:2]
    assert lines(slow.raw(b"\r")) == TIDES[2:]
    assert lines(slow.raw(b"AGAIN\r")) == TIDES[2:]  # it waits after the last window too
    slow.raw(b"\r")
    assert lines(slow.raw(b"AGAIN\r")) == TIDES[:2]  # now the page, from its beginning


def test_again_n_goes_on_from_the_pages_record_n(slow: Talk) -> None:
    slow.raw(b"ASK tides\r")
    assert lines(slow.raw(b"AGAIN 2\r")) == [b"200 00002 018 .*", TIDES[2]]
    assert lines(slow.raw(b"\r")) == [TIDES[3]]
    assert lines(slow.raw(b"AGAIN 3\r")) == [b"200 00001 018 .*", TIDES[3]]
    assert lines(slow.raw(b"AGAIN 1\r")) == TIDES[:2]
    slow.raw(b"\r\r")
    assert lines(slow.raw(b"AGAIN 2\r")) == [
        b"200 00002 018 .*",
        TIDES[2],
    ]  # nothing waits: the cursor's page


def test_a_wrong_number_acknowledges_nothing(slow: Talk) -> None:
    slow.raw(b"ASK tides\r")
    assert lines(slow.raw(b"AGAIN 4\r"))[0].startswith(b"501")
    assert lines(slow.raw(b"\r")) == TIDES[2:]


def test_again_n_of_a_reply_without_a_cursor(slow: Talk) -> None:
    """A client that takes all replies alike can repeat from any line of them."""
    whole = lines(slow.raw(b"HELP\r")) + lines(slow.raw(b"\r"))
    assert lines(slow.raw(b"AGAIN 2\r"))[1] == whole[2]


@pytest.mark.parametrize(
    "wrong",
    [b"PING\r", b"A" * 256 + b"\r", b"ASK \x01\r", b"\xe9\r"],
    ids=["word", "long", "control", "charset"],
)
def test_what_is_no_request_acknowledges_nothing(slow: Talk, wrong: bytes) -> None:
    slow.raw(b"ASK tides\r")
    status, record = lines(slow.raw(wrong))  # whole: its second line waits for nothing
    assert status == b"500 00001 040 .."
    assert len(record) == 40
    assert lines(slow.raw(b"\r")) == TIDES[2:]


@pytest.mark.parametrize("request_line", [b"NOOP\r", b"ASK\r", b"ASK 'tides\r", b"WHY\r", b"MORE\r"])
def test_any_other_request_abandons_the_rest_and_runs(slow: Talk, request_line: bytes) -> None:
    slow.raw(b"ASK tides\r")
    assert len(lines(slow.raw(request_line))) in {1, 2}
    slow.raw(b"\r\r\r\r\r\r\r\r\r\r")
    assert slow.raw(b"\r") == b""  # of the tides nothing more


def test_halt_gives_up_and_is_always_answered_alike(slow: Talk) -> None:
    nothing = [b"200 00000 000 .."]
    assert lines(slow.raw(b"HALT\r")) == nothing
    slow.raw(b"ASK tides\r")
    assert lines(slow.raw(b"HALT\r")) == nothing
    assert slow.raw(b"\r") == b""
    assert lines(slow.raw(b"HALT now\r")) == nothing


def test_halt_without_a_window(talk: Talk) -> None:
    assert talk.say("HALT") == ("200 00000 000 ..", [])


def test_cancel_gives_up_without_a_reply(slow: Talk) -> None:
    slow.raw(b"ASK tides\r")
    assert slow.raw(b"\x18") == b""
    assert slow.raw(b"\r") == b""
    assert lines(slow.raw(b"AGAIN\r")) == TIDES[:2]  # the page is still there


def test_the_350_of_a_transfer_waits_for_nothing(slow: Talk) -> None:
    assert lines(slow.raw(b"TELL guest\r")) == [b"350 00000 000 .."]
    assert slow.raw(b"\r>a\r\r") == b""
    assert lines(slow.raw(b".\r")) == TIDES[:2]
    assert lines(slow.raw(b"\r")) == TIDES[2:]


def test_goodbye_waits_for_nothing(slow: Talk) -> None:
    slow.raw(b"SET window=1\r")
    assert lines(slow.raw(b"BYE\r")) == [b"221 00000 000 .."]
    assert slow.session.closing


def test_set_ends_the_waiting(slow: Talk) -> None:
    slow.raw(b"ASK tides\r")
    slow.raw(b"SET window=0\r")
    assert lines(slow.raw(b"AGAIN\r")) == TIDES
    assert slow.raw(b"\r") == b""
    assert lines(slow.raw(b"AGAIN 2\r")) == [b"200 00001 018 .C", TIDES[2]]  # without a window: that one


def test_a_page_keeps_its_bytes_when_a_window_comes_later(talk: Talk) -> None:
    whole = lines(talk.raw(b"ASK tides\r"))
    talk.raw(b"SET window=3 mark=on\r\r")
    assert lines(talk.raw(b"AGAIN\r")) == whole[:3]
    assert lines(talk.raw(b"\r")) == whole[3:]


@pytest.mark.parametrize("reply", [b"\x00AGAIM 2\r", b"ASK fails\r"])
def test_an_error_never_takes_the_pages_place(slow: Talk, reply: bytes) -> None:
    """With nothing waited for, or after the cursor's page: a client whose AGAIN 2 was garbled sends it again,
    and must not be locked into the records of the error that it got for it.
    """
    slow.raw(b"ASK tides\r\r\r")  # all of it is acknowledged
    slow.raw(b"AGAIM 2\r")
    for _ in range(3):
        assert lines(slow.raw(b"AGAIN 2\r"))[0] == b"200 00002 018 .*"
        assert lines(slow.raw(b"AGAIM 2\r"))[0][:3] == b"500"
    slow.raw(b"\r\r")
    assert lines(slow.raw(b"AGAIM\r"))[0][:3] == b"500"
    assert lines(slow.raw(b"AGAIN\r")) == TIDES[:2]
    assert slow.raw(reply)
    assert lines(slow.raw(b"AGAIN 9\r"))[0][:3] in {b"501", b"503"}
    after = lines(slow.raw(b"AGAIN 2\r"))
    assert after[0][:3] == (b"503" if reply.startswith(b"ASK") else b"200")


def test_a_reply_that_keeps_the_cursor_keeps_its_page_for_again_n(slow: Talk) -> None:
    """CONTRACT section 3: TIME and NOOP keep the cursor, so AGAIN n is still about its page."""
    slow.raw(b"ASK tides\r")
    assert lines(slow.raw(b"NOOP x\r"))[1][:1] == b"x"
    assert lines(slow.raw(b"AGAIN\r"))[1][:1] == b"x"  # the window, as it was
    assert lines(slow.raw(b"AGAIN 3\r")) == [b"200 00001 018 .*", TIDES[3]]


def test_why_tells_which_records_a_page_shows(talk: Talk) -> None:
    """Who lost a line does not know whether its MORE came through: nothing else tells."""
    talk.raw(b"SET page=2\r")
    talk.raw(b"ASK tides\r")
    for request, shown in ((b"AGAIN", b"1-2"), (b"MORE", b"3-3"), (b"AGAIN 1", b"3-3"), (b"MORE", b"3-3")):
        talk.raw(request + b"\r")
        assert b"PAGE     records " + shown + b" " in talk.raw(b"WHY\r")
