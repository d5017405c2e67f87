"""What a receiver answers to frames made by hand, and when (the published description, from memory)."""

from collections.abc import Callable

import pytest

from gateway.wire.blocks.effects import Block, Done, Effect, Ended, Failed, Send
from gateway.wire.blocks.frame import build
from gateway.wire.blocks.patience import Patience
from gateway.wire.blocks.xmodem import XmodemReceiver

ACK, NAK, ASK = Send(b"\x06"), Send(b"\x15"), Send(b"C")
EOT = b"\x04"
ONE, TWO, THREE = (build(number, bytes([64 + number]) * 128, crc=True) for number in (1, 2, 3))


def begun() -> XmodemReceiver:
    """A receiver at second 1 that has block 1."""
    receiver = XmodemReceiver(0.0)
    assert receiver.at(0.0) == [ASK]
    assert receiver.feed(ONE, 1.0) == [Block(b"A" * 128), ACK]
    return receiver


def until_it_speaks(receiver: XmodemReceiver) -> tuple[float, list[Effect]]:
    while (due := receiver.due()) is not None:
        effects = receiver.at(due)
        if effects:
            return due, effects
    raise AssertionError("it is over")


def test_three_requests_for_crc_then_for_checksums_then_failure() -> None:
    receiver, said = XmodemReceiver(0.0), []
    while receiver.due() is not None:
        said.append(until_it_speaks(receiver))
    assert said[:4] == [(0.0, [ASK]), (3.0, [ASK]), (6.0, [ASK]), (9.0, [NAK])]
    assert said[4:-1] == [(19.0 + 10 * number, [NAK]) for number in range(7)]
    assert said[-1][0] == 89.0
    assert said[-1][1][-1] == Failed("Nothing came")


def test_nothing_is_done_early() -> None:
    receiver = XmodemReceiver(0.0)
    receiver.at(0.0)
    assert receiver.at(2.9) == []
    assert receiver.due() == 3.0


def test_a_sender_with_checksums_is_understood_after_the_fallback() -> None:
    receiver = XmodemReceiver(0.0)
    for _ in range(4):
        until_it_speaks(receiver)
    one, two = (build(number, b"sums", crc=False) for number in (1, 2))
    assert receiver.feed(one, 10.0) == []  # a CRC's second byte may still come
    assert receiver.at(11.0) == [Block(b"sums" + b"\x1a" * 124), ACK]
    assert receiver.feed(two, 12.0) == [Block(b"sums" + b"\x1a" * 124), ACK]  # now it is known


def fallen_back() -> XmodemReceiver:
    """A receiver that asks for checksums since second 9."""
    receiver = XmodemReceiver(0.0)
    for _ in range(4):
        until_it_speaks(receiver)
    return receiver


def test_a_damaged_block_with_a_checksum_is_refused_after_the_fallback() -> None:
    receiver = fallen_back()
    assert receiver.feed(build(1, b"sums", crc=False)[:-1] + b"?", 10.0) == []
    assert until_it_speaks(receiver) == (11.0, [NAK])


def test_a_checksum_is_known_by_what_comes_a_second_behind_it() -> None:
    """The pause is noticed with the bytes after it, which answer nothing that was said after they came."""
    receiver = fallen_back()
    one, two = (build(number, b"sums", crc=False) for number in (1, 2))
    assert receiver.feed(one, 10.0) == []
    assert receiver.feed(b"?", 12.0) == [Block(b"sums" + b"\x1a" * 124), ACK]
    assert receiver.feed(two, 13.0) == [Block(b"sums" + b"\x1a" * 124), ACK]


def test_a_checksum_that_nobody_asked_for_is_a_crc_that_lost_a_byte() -> None:
    """Eight bits of check fit by chance once in 256, which is too often before any NAK was sent."""
    receiver = XmodemReceiver(0.0)
    receiver.at(0.0)
    receiver.feed(build(1, b"sums", crc=False), 1.0)
    assert until_it_speaks(receiver) == (2.0, [ASK])


def test_a_sender_that_took_an_early_request_for_crc_is_understood_after_the_fallback_too() -> None:
    receiver = XmodemReceiver(0.0)
    for _ in range(4):
        until_it_speaks(receiver)
    assert receiver.feed(ONE, 10.0) == [Block(b"A" * 128), ACK]


def test_a_block_whose_acknowledgement_was_lost_is_acknowledged_again_and_not_kept_twice() -> None:
    receiver = begun()
    assert receiver.feed(ONE, 5.0) == [ACK]
    assert receiver.feed(TWO, 6.0) == [Block(b"B" * 128), ACK]


def test_a_repetition_with_other_bytes_is_none() -> None:
    receiver = begun()
    assert receiver.feed(build(1, b"else", crc=True), 5.0)[-1] == Failed("The blocks came out of step")


def test_a_block_too_many_repetitions_of_which_came_ends_it() -> None:
    receiver = begun()
    for number in range(10):
        assert receiver.feed(ONE, 2.0 + number) == [ACK]
    assert receiver.feed(ONE, 20.0)[-1] == Failed("The same block came too often")


def test_a_wrong_number_cannot_be_mended() -> None:
    cancel, failed = begun().feed(THREE, 2.0)
    assert isinstance(cancel, Send)
    assert cancel.data.startswith(b"\x18\x18")
    assert failed == Failed("The blocks came out of step")


def test_a_garbled_block_is_refused_once_the_line_is_quiet() -> None:
    receiver = begun()
    assert receiver.feed(TWO[:50] + b"?" + TWO[51:], 2.0) == []
    assert receiver.feed(b"and more noise", 2.9) == []
    assert receiver.at(3.0) == []
    assert until_it_speaks(receiver) == (3.9, [NAK])
    assert receiver.feed(TWO, 4.5) == [Block(b"B" * 128), ACK]


def test_the_first_block_is_refused_by_asking_again() -> None:
    receiver = XmodemReceiver(0.0)
    receiver.at(0.0)
    receiver.feed(ONE[:-1] + b"?", 1.0)
    assert until_it_speaks(receiver) == (2.0, [ASK])


def test_a_block_that_breaks_off_is_refused_after_a_second() -> None:
    receiver = begun()
    receiver.feed(TWO[:100], 2.0)
    assert until_it_speaks(receiver) == (3.0, [NAK])


def test_a_block_may_come_slowly_but_not_with_a_longer_pause() -> None:
    receiver = begun()
    for number in range(len(TWO) - 1):
        assert receiver.feed(TWO[number : number + 1], 2 + 0.9 * number) == []
    assert receiver.feed(TWO[-1:], 2 + 0.9 * (len(TWO) - 1)) == [Block(b"B" * 128), ACK]
    assert receiver.feed(THREE[:60], 200.0) == []
    assert receiver.feed(THREE[60:], 201.5) == []
    assert receiver.feed(THREE, 210.0) == [Block(b"C" * 128), ACK]


def test_noise_without_an_end_is_not_waited_out_for_ever() -> None:
    receiver, now, effects = begun(), 1.0, []
    while receiver.due() is not None:
        now += 0.5
        effects += receiver.at(now) + receiver.feed(b"??", now)
        assert now < 500
    assert effects[-1] == Failed("Too many blocks were garbled")


def test_the_end_is_refused_once() -> None:
    receiver = begun()
    assert receiver.feed(EOT, 2.0) == []
    assert until_it_speaks(receiver) == (2.2, [NAK])
    receiver.feed(EOT, 3.0)
    assert until_it_speaks(receiver)[1][-2] == ACK


def test_a_damaged_block_that_begins_like_the_end_is_none() -> None:
    receiver = begun()
    assert receiver.feed(EOT + TWO[1:], 2.0) == []
    assert until_it_speaks(receiver) == (3.0, [NAK])
    assert receiver.feed(TWO, 4.0) == [Block(b"B" * 128), ACK]


def test_an_end_instead_of_a_block_that_was_refused_is_not_believed() -> None:
    """The NAK became an ACK on its way: otherwise the document would be short and nobody knew."""
    receiver = begun()
    receiver.feed(TWO[:-1] + b"?", 2.0)
    assert until_it_speaks(receiver) == (3.0, [NAK])
    receiver.feed(EOT, 4.0)
    assert until_it_speaks(receiver)[1] == [NAK]
    receiver.feed(EOT, 5.0)
    assert until_it_speaks(receiver)[1][-1] == Failed("The end came instead of a block")


def test_who_missed_the_last_acknowledgement_gets_another() -> None:
    receiver = begun()
    for now in (2.0, 3.0):
        receiver.feed(EOT, now)
        until_it_speaks(receiver)
    assert receiver.due() is None
    assert receiver.feed(EOT, 60.0) == [ACK]
    assert receiver.feed(EOT, 60.0) == []


def test_two_cancels_in_a_row_end_it_and_one_does_not() -> None:
    assert begun().feed(b"\x18\x18", 2.0) == [Failed("The sender gave up")]
    receiver = begun()
    assert receiver.feed(b"\x18", 2.0) + receiver.feed(TWO, 2.1) == []
    assert until_it_speaks(receiver)[1] == [NAK]
    assert receiver.feed(TWO, 4.0) == [Block(b"B" * 128), ACK]
    assert receiver.feed(b"\x18", 5.0) == []
    assert receiver.feed(b"\x18", 5.1) == [Failed("The sender gave up")]


def test_cancels_in_the_middle_of_a_block_end_it_once_the_line_is_quiet() -> None:
    receiver = begun()
    receiver.feed(TWO[:70] + b"\x18" * 8 + b"\x08" * 8, 2.0)
    assert until_it_speaks(receiver) == (3.0, [Failed("The sender gave up")])


def test_tries_are_counted_for_each_block() -> None:
    receiver, now = begun(), 1.0
    for number in range(2, 17):
        receiver.feed(b"noise", now + 1)
        assert until_it_speaks(receiver) == (now + 2, [NAK])
        now += 3
        assert receiver.feed(build(number, b"x" * 128, crc=True), now) == [Block(b"x" * 128), ACK]


def test_once_blocks_come_they_are_waited_for_longer_than_the_first() -> None:
    assert until_it_speaks(begun()) == (11.0, [NAK])


def test_cancels_in_the_middle_of_a_block_end_it_where_the_quiet_is_noticed_late() -> None:
    receiver = begun()
    assert receiver.feed(TWO[:60] + b"\x18" * 5, 2.0) == []
    assert receiver.feed(THREE, 5.0) == [Failed("The sender gave up")]
    assert receiver.due() is None


def test_an_end_whose_quiet_is_noticed_late_is_refused_once_too() -> None:
    receiver = begun()
    assert receiver.feed(EOT, 2.0) == []
    assert receiver.feed(EOT, 9.0) == [NAK]  # what has come meanwhile is no answer to that
    assert receiver.feed(EOT, 10.0) == []
    assert until_it_speaks(receiver)[1] == [Ended(), ACK, Done()]


def test_cancels_as_data_are_data() -> None:
    assert begun().feed(build(2, b"\x18" * 128, crc=True), 2.0) == [Block(b"\x18" * 128), ACK]


def stripped(byte: int) -> int:
    return byte & 0x7F


def even(byte: int) -> int:
    """The seven bits with even parity, as a line of 8N1 sees those of 7E1."""
    return stripped(byte) | stripped(byte).bit_count() % 2 << 7


@pytest.mark.parametrize("seven", [stripped, even])
def test_a_line_of_seven_bits_is_told_plainly(seven: Callable[[int], int]) -> None:
    receiver = XmodemReceiver(0.0)
    receiver.at(0.0)
    for now in (1.0, 4.0, 7.0):
        effects = receiver.feed(bytes(map(seven, ONE)), now)
        receiver.at(now + 1.5)
    assert effects[-1] == Failed("The line carries only seven bits")


def test_what_came_before_the_reply_was_sent_answers_nothing() -> None:
    receiver = begun()
    assert receiver.feed(ONE[-1:], 1.0) == []  # came twice
    assert receiver.feed(TWO, 1.5) == [Block(b"B" * 128), ACK]


def test_patience_is_the_callers() -> None:
    receiver = XmodemReceiver(0.0, Patience(ask=0.5, block=2.0, tries=2, asks=1))
    said = []
    while receiver.due() is not None:
        said.append(until_it_speaks(receiver)[0])
    assert said == [0.0, 0.5, 2.5, 4.5]


def test_giving_up_is_told_once() -> None:
    receiver = begun()
    cancel, failed = receiver.cancel("no room")
    assert isinstance(cancel, Send)
    assert failed == Failed("no room")
    assert receiver.cancel("no room") == receiver.feed(TWO, 3.0) == receiver.at(99.0) == []
