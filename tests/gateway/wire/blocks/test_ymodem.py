"""YMODEM as a whole: batches, sizes that were told, and who leaves when (the description, from memory)."""

import pytest

from adapters import limits
from gateway.wire.blocks import heading
from gateway.wire.blocks.effects import Block, Document, Done, Effect, Ended, Failed, Send, Want
from gateway.wire.blocks.frame import build
from gateway.wire.blocks.ymodem import YmodemReceiver, YmodemSender
from tests.gateway.wire.blocks.line import transfer

ACK, NAK, ASK, EOT = b"\x06", b"\x15", b"C", b"\x04"
TIDES = Document("tides.txt", 130, 1_000_000_000)


def block_0(document: Document | None) -> bytes:
    return build(0, heading.write(document) if document else heading.LAST, crc=True)


def begun(document: Document = TIDES) -> YmodemReceiver:
    """A receiver at second 1 that knows of a document."""
    receiver = YmodemReceiver(0.0)
    assert receiver.at(0.0) == [Send(ASK)]
    assert receiver.feed(block_0(document), 1.0) == [document, Send(ACK + ASK)]
    return receiver


def end(receiver: YmodemReceiver, now: float) -> list[Effect]:
    """What it makes of the end, said twice."""
    assert receiver.feed(EOT, now) == []
    assert receiver.at(now + 1) == [Send(NAK)]
    assert receiver.feed(EOT, now + 2) == []
    return receiver.at(now + 3)


def test_a_document_is_cut_to_its_size() -> None:
    receiver = begun()
    assert receiver.feed(build(1, b"x" * 128, crc=True), 2.0) == [Block(b"x" * 128), Send(ACK)]
    assert receiver.feed(build(2, b"yz", crc=True), 3.0) == [Block(b"yz"), Send(ACK)]
    assert end(receiver, 4.0) == [Ended(), Send(ACK + ASK)]
    assert receiver.feed(block_0(None), 8.0) == [Send(ACK), Done()]


def test_a_document_without_a_size_keeps_its_filling() -> None:
    outcome = transfer(YmodemSender([Document("a")], 0.0), YmodemReceiver(0.0), [b"tides"])
    assert outcome.received == [(Document("a"), b"tides" + b"\x1a" * 123)]


def test_a_document_that_ends_early_is_not_whole() -> None:
    receiver = begun()
    receiver.feed(build(1, b"x" * 128, crc=True), 2.0)
    assert end(receiver, 3.0)[-1] == Failed("The document broke off")


def test_a_document_that_grew_is_cut_unless_it_never_ends() -> None:
    receiver = begun(Document("a", 1))
    assert receiver.feed(build(1, b"a", crc=True), 2.0) == [Block(b"a"), Send(ACK)]
    for number in range(2, 12):
        assert receiver.feed(build(number, b"more", crc=True), float(number + 1)) == [Send(ACK)]
    failed = receiver.feed(build(12, b"more", crc=True), 20.0)[-1]
    assert failed == Failed("The document is longer than was told")


def test_an_empty_batch() -> None:
    outcome = transfer(YmodemSender([], 0.0), YmodemReceiver(0.0), [])
    assert outcome.sender == outcome.receiver == Done()
    assert outcome.received == []


def test_a_heading_whose_acknowledgement_was_lost_is_answered_again() -> None:
    receiver = begun()
    assert receiver.feed(block_0(TIDES), 5.0) == [Send(ACK + ASK)]
    assert receiver.feed(build(1, b"x" * 128, crc=True), 6.0)[0] == Block(b"x" * 128)


def test_a_block_whose_acknowledgement_was_lost_is_only_acknowledged_again() -> None:
    receiver = begun()
    block = build(1, b"x" * 128, crc=True)
    assert receiver.feed(block, 2.0) == [Block(b"x" * 128), Send(ACK)]
    assert receiver.feed(block, 3.0) == [Send(ACK)]


def test_another_heading_in_place_of_a_block_is_out_of_step() -> None:
    assert begun().feed(block_0(Document("b")), 5.0)[-1] == Failed("The blocks came out of step")


def test_an_end_whose_acknowledgement_was_lost_is_answered_again() -> None:
    receiver = begun(Document("a", 0))
    assert end(receiver, 2.0) == [Ended(), Send(ACK + ASK)]
    receiver.feed(EOT, 10.0)
    assert receiver.at(11.0) == [Send(ACK + ASK)]


def test_an_end_before_any_document() -> None:
    receiver = YmodemReceiver(0.0)
    receiver.at(0.0)
    assert end(receiver, 1.0)[-1] == Failed("The end came before a document")


def test_who_missed_the_very_last_acknowledgement_gets_another() -> None:
    receiver = YmodemReceiver(0.0)
    receiver.at(0.0)
    assert receiver.feed(block_0(None), 1.0)[-1] == Done()
    assert receiver.feed(block_0(None), 61.0) == [Send(ACK)]
    assert receiver.feed(b"anything else", 62.0) == []


def test_a_batch_has_so_many_documents() -> None:
    receiver, now = begun(Document("a", 0)), 2.0
    for _ in range(limits.BLOCK_DOCUMENTS - 1):
        end(receiver, now)
        receiver.feed(block_0(Document("a", 0)), now + 4)
        now += 5
    end(receiver, now)
    assert receiver.feed(block_0(Document("a", 0)), now + 4)[-1] == Failed("Too many documents")


def sent(size: int | None = 3) -> YmodemSender:
    """A sender whose heading was acknowledged at second 2."""
    sender = YmodemSender([Document("a", size)], 0.0)
    assert sender.feed(ASK, 1.0) == [Send(block_0(Document("a", size)))]
    assert sender.feed(ACK, 2.0) == [Want(size or 8192)]
    return sender


def test_a_batch_of_one_document_by_its_answers() -> None:
    sender = sent()
    assert sender.supply(b"abc", 2.0) == []
    assert sender.feed(ASK, 3.0) == [Send(build(1, b"abc", crc=True))]
    assert sender.feed(ACK, 4.0) == [Send(EOT)]
    assert sender.feed(NAK, 5.0) == [Send(EOT)]
    assert sender.feed(ACK + ASK, 6.0) == [Ended(), Send(block_0(None))]
    assert sender.feed(ACK, 7.0) == [Done()]


def test_a_source_that_breaks_its_word_cancels() -> None:
    assert sent().supply(b"", 3.0)[-1] == Failed("The document is shorter than was told")
    sender = sent()
    sender.supply(b"ab", 3.0)
    with pytest.raises(ValueError, match="wanted"):
        sender.supply(b"cd", 3.0)


@pytest.mark.parametrize("asks", [False, True])
def test_a_receiver_that_leaves_after_the_last_document_has_them_all(asks: bool) -> None:
    sender = sent()
    sender.supply(b"abc", 2.0)
    for now, answer in ((3.0, ASK), (4.0, ACK), (5.0, ACK), *([(6.0, ASK)] if asks else [])):
        effects = sender.feed(answer, now)
    last = 6.0
    while (due := sender.due()) is not None:
        effects, last = sender.at(due), due
    assert effects == [Done()]
    assert last <= 12.0  # its user waits for that


def test_a_receiver_that_stays_may_refuse_the_end_of_the_batch_more_often() -> None:
    sender = sent()
    sender.supply(b"abc", 2.0)
    for now, answer in ((3.0, ASK), (4.0, ACK), (5.0, ACK), (6.0, ASK)):
        sender.feed(answer, now)
    for number in range(10):
        assert sender.feed(NAK, 7.0 + number) == [Send(block_0(None))]
    assert sender.feed(ACK, 20.0) == [Done()]


def test_a_request_in_place_of_the_answer_to_an_end_is_no_acknowledgement() -> None:
    """An empty document's receiver may ask again because the end was lost."""
    sender = YmodemSender([Document("a", 0), Document("b", 0)], 0.0)
    sender.feed(ASK, 1.0)
    sender.feed(ACK, 2.0)
    assert sender.feed(ASK, 3.0) == [Send(EOT)]
    assert sender.feed(ASK, 6.0) == [Send(EOT)]
    assert sender.feed(ACK, 7.0) == [Ended()]
