"""What a sender sends for which answers, at which moments (the published description, from memory)."""

import pytest

from gateway.wire.blocks.effects import Done, Effect, Ended, Failed, Send, Want
from gateway.wire.blocks.frame import build
from gateway.wire.blocks.xmodem import XmodemSender

ACK, NAK, ASK, EOT = b"\x06", b"\x15", b"C", Send(b"\x04")
DATA = bytes(range(200))


def frame(number: int, data: bytes, *, crc: bool = True) -> Send:
    return Send(build(number, data, crc=crc))


FIRST, SECOND = frame(1, DATA[:128]), frame(2, DATA[128:])


def begun(request: bytes = ASK) -> XmodemSender:
    """A sender that has all its bytes and has sent block 1 at second 1."""
    sender = XmodemSender(0.0)
    assert sender.feed(request, 1.0) == [Want(8192)]
    first, want = sender.supply(DATA, 1.0)
    assert first == frame(1, DATA[:128], crc=request == ASK)
    assert isinstance(want, Want)
    assert sender.supply(b"", 1.0) == []
    return sender


def test_a_document_of_two_blocks() -> None:
    sender = begun()
    assert sender.feed(ACK, 2.0) == [SECOND]
    assert sender.feed(ACK, 3.0) == [EOT]
    assert sender.feed(NAK, 4.0) == [EOT]
    assert sender.feed(ACK, 5.0) == [Ended(), Done()]
    assert sender.due() is None


def test_a_receiver_that_asks_with_nak_gets_checksums() -> None:
    assert begun(NAK).feed(ACK, 2.0) == [frame(2, DATA[128:], crc=False)]


def test_an_empty_document_is_its_end() -> None:
    sender = XmodemSender(0.0)
    sender.feed(ASK, 1.0)
    assert sender.supply(b"", 1.0) == [EOT]


def test_a_refused_block_goes_again_ten_times() -> None:
    sender = begun()
    for number in range(10):
        assert sender.feed(NAK, 2.0 + number) == [FIRST]
    cancel, failed = sender.feed(NAK, 20.0)
    assert isinstance(cancel, Send)
    assert cancel.data.startswith(b"\x18\x18")
    assert failed == Failed("The receiver refuses every try")


def test_tries_are_counted_for_each_block() -> None:
    sender = XmodemSender(0.0)
    sender.feed(ASK, 1.0)
    sender.supply(bytes(8192), 1.0)
    for number in range(2, 31):
        again = sender.feed(NAK, float(number))
        assert isinstance(again[0], Send)
        assert again[0].data[1] == number - 1
        sender.feed(ACK, number + 0.5)


def test_a_block_that_nobody_answers_goes_again_each_minute() -> None:
    sender = begun()
    for number in range(10):
        due = sender.due()
        assert due == 61.0 + 60 * number
        assert sender.at(due) == [FIRST]
    assert sender.at(661.0)[-1] == Failed("The receiver does not answer")


def test_nobody_who_asks_is_waited_for_a_minute() -> None:
    sender = XmodemSender(0.0)
    assert sender.at(59.9) == []
    assert sender.at(60.0)[-1] == Failed("Nobody asked for the document")


def test_a_garbled_answer_is_waited_out() -> None:
    sender = begun()
    assert sender.feed(b"\x07garbled", 2.0) == []
    assert sender.due() == 61.0
    assert sender.feed(NAK, 12.0) == [FIRST]


def test_answers_that_were_there_before_answer_nothing() -> None:
    """An ACK that came twice must not acknowledge the block that the first one let go."""
    sender = begun()
    assert sender.feed(ACK + ACK, 2.0) == [SECOND]
    assert sender.feed(ACK, 2.0) == []
    assert sender.feed(NAK, 3.0) == [SECOND]
    sender = XmodemSender(0.0)
    assert sender.feed(ASK * 5, 1.0) == [Want(8192)]


def test_a_request_that_comes_again_is_a_refusal_of_the_first_block_only() -> None:
    sender = begun()
    assert sender.feed(ASK, 4.0) == [FIRST]
    assert sender.feed(ACK, 5.0) == [SECOND]
    assert sender.feed(ASK, 8.0) == []


def test_impatience_while_bytes_are_wanted_is_nothing() -> None:
    sender = XmodemSender(0.0)
    sender.feed(ASK, 1.0)
    assert sender.feed(ASK + NAK, 4.0) == []
    assert sender.due() is None
    assert sender.supply(DATA, 30.0)[0] == FIRST
    assert sender.due() == 90.0


def test_two_cancels_in_a_row_end_it_and_one_does_not() -> None:
    sender = begun()
    assert sender.feed(b"\x18" + ACK, 2.0) == [SECOND]
    assert sender.feed(b"\x18", 3.0) == []
    assert sender.feed(b"\x18", 4.0) == [Failed("The receiver gave up")]
    assert begun().feed(ACK + b"\x18\x18", 2.0) == [SECOND, Failed("The receiver gave up")]


def test_kilobytes_go_to_receivers_that_ask_for_crc_and_a_short_rest_in_small_blocks() -> None:
    data = bytes(1024) + b"x" * 897
    for request, sizes in ((ASK, [1029, 1029]), (NAK, [132] * 16)):
        sender = XmodemSender(0.0, kilobyte=True)
        sender.feed(request, 1.0)
        effects = [*sender.supply(data, 1.0), *sender.supply(b"", 1.0)]
        for now in range(2, len(sizes) + 1):
            effects += sender.feed(ACK, float(now))
        assert [len(effect.data) for effect in effects if isinstance(effect, Send)] == sizes
    sender = XmodemSender(0.0, kilobyte=True)
    sender.feed(ASK, 1.0)
    sender.supply(b"x" * 896, 1.0)
    assert [len(each.data) for each in sender.supply(b"", 1.0) if isinstance(each, Send)] == [133]


def test_no_more_is_held_than_the_limit() -> None:
    sender = XmodemSender(0.0)
    sender.feed(ASK, 1.0)
    sender.supply(bytes(8192), 1.0)
    effects: list[Effect] = []
    now = 1.0
    while not any(isinstance(each, Want) for each in effects):
        now += 1
        effects = sender.feed(ACK, now)
    assert effects[-1] == Want(4096)
    assert now == 1 + 31


def test_bytes_that_nobody_wanted_are_a_mistake_of_the_caller() -> None:
    sender = XmodemSender(0.0)
    with pytest.raises(ValueError, match="wanted"):
        sender.supply(b"early", 0.5)
    sender.feed(ASK, 1.0)
    with pytest.raises(ValueError, match="wanted"):
        sender.supply(bytes(8193), 1.0)


def test_a_line_of_seven_bits_with_parity_is_told_plainly() -> None:
    """`C` has three bits set, so that even parity makes it C3h."""
    sender = XmodemSender(0.0)
    assert sender.feed(b"\xc3", 1.0) + sender.feed(b"\xc3", 4.0) == []
    assert sender.feed(b"\xc3", 7.0)[-1] == Failed("The line carries only seven bits")


def test_giving_up_is_told_once() -> None:
    sender = XmodemSender(0.0)
    sender.feed(ASK, 1.0)
    assert sender.cancel("The source failed")[-1] == Failed("The source failed")
    assert (
        sender.cancel("again") == sender.supply(DATA, 2.0) == sender.feed(NAK, 3.0) == sender.at(99.0) == []
    )
