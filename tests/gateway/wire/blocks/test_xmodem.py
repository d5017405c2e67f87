"""XMODEM as a whole: what is kept of the filling, and a sender of the wrong kind."""

import tracemalloc

import pytest

from gateway.wire.blocks.effects import Block, Document, Done, Ended, Failed, Send, Want
from gateway.wire.blocks.frame import build
from gateway.wire.blocks.xmodem import XmodemReceiver, XmodemSender
from gateway.wire.blocks.ymodem import YmodemReceiver, YmodemSender
from tests.gateway.wire.blocks.line import transfer


@pytest.mark.parametrize(
    ("data", "kept"),
    [
        (b"", b""),
        (b"tides", b"tides"),
        (b"tides\x1a", b"tides"),
        (b"tides\x1arests of another text", b"tides"),
        (b"\x1a" * 128 + b"tides", b"\x1a" * 128 + b"tides"),
        (b"x" * 128, b"x" * 128),
        (b"x" * 128 + b"\x1a", b"x" * 128),
    ],
)
def test_a_text_ends_at_its_first_sub_in_the_last_block_and_all_else_keeps_its_filling(
    data: bytes, kept: bytes
) -> None:
    for text, expected in ((True, kept), (False, data + b"\x1a" * (-len(data) % 128))):
        outcome = transfer(XmodemSender(0.0), XmodemReceiver(0.0, text=text), [data])
        assert outcome.sender == outcome.receiver == Done()
        assert outcome.received == [(None, expected)]


def test_more_than_256_blocks_count_on_from_0() -> None:
    data = b"".join(number.to_bytes(2, "big") * 64 for number in range(600))
    outcome = transfer(XmodemSender(0.0), XmodemReceiver(0.0), [data])
    assert outcome.received == [(None, data)]


def test_a_document_is_told_to_be_whole_before_that_is_acknowledged() -> None:
    """So that who cannot keep it may still cancel."""
    receiver = XmodemReceiver(0.0)
    receiver.at(0.0)
    assert receiver.feed(build(1, b"x" * 128, crc=True), 1.0) == [Block(b"x" * 128), Send(b"\x06")]
    receiver.feed(b"\x04", 2.0)
    receiver.at(3.0)
    receiver.feed(b"\x04", 4.0)
    assert receiver.at(5.0) == [Ended(), Send(b"\x06"), Done()]


def test_a_sender_of_the_other_kind_is_told_apart() -> None:
    outcome = transfer(YmodemSender([Document("a", 1)], 0.0), XmodemReceiver(0.0), [b"a"])
    assert outcome.receiver == Failed("The sender speaks YMODEM, not XMODEM")
    assert outcome.sender == Failed("The receiver gave up")
    outcome = transfer(XmodemSender(0.0), YmodemReceiver(0.0), [b"a"])
    assert outcome.receiver == Failed("The sender speaks XMODEM, not YMODEM")


def test_a_large_document_takes_no_more_memory_than_a_small_one() -> None:
    """Four megabytes, whose peak must stay under a hundredth of that."""
    sender, receiver = YmodemSender([Document("large", 4 << 20)], 0.0), YmodemReceiver(0.0)
    piece, now, received = bytes(8192), 0.0, 0
    tracemalloc.start()
    try:
        back = receiver.at(now)
        while receiver.due() is not None:
            now += 0.001
            forth = [
                each for effect in back if isinstance(effect, Send) for each in sender.feed(effect.data, now)
            ]
            while any(isinstance(effect, Want) for effect in forth):
                forth = [
                    each
                    for effect in forth
                    for each in (
                        sender.supply(piece[: effect.count], now) if isinstance(effect, Want) else [effect]
                    )
                ]
            now += 0.001
            back = [
                each
                for effect in forth
                if isinstance(effect, Send)
                for each in receiver.feed(effect.data, now)
            ]
            received += sum(len(effect.data) for effect in back if isinstance(effect, Block))
            due = receiver.due()
            if not forth and due is not None:
                now = due
                back = receiver.at(now)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert received == 4 << 20
    assert peak < 40_000 + 2 * 8192
