"""documents <-> YMODEM: a batch, each with a block 0 that tells name, size and time.

Received documents are cut to their size, and one that ends before it fails. Where no size was told, the
filling stays, as in XMODEM. The streaming kind, which is asked for with `G`, is not spoken.
"""

from collections.abc import Sequence
from types import MappingProxyType

from adapters import limits
from gateway.wire.blocks import frame, heading
from gateway.wire.blocks.effects import Block, Document, Effect, Ended
from gateway.wire.blocks.frame import ACK
from gateway.wire.blocks.patience import Patience
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Phase, Sender

_PATIENCE = Patience()


class YmodemSender(Sender):
    """Sends documents in their order. ValueError for a name that no block 0 can hold."""

    def __init__(
        self,
        documents: Sequence[Document],
        now: float,
        patience: Patience = _PATIENCE,
        *,
        kilobyte: bool = True,
    ) -> None:
        super().__init__(now, patience, kilobyte=kilobyte)
        self._headings = [(heading.write(each), each.size) for each in documents]
        self._body = False  # whether the next request is for the blocks behind a heading

    @property
    def _all_sent(self) -> bool:
        return self._document == len(self._headings)

    def _asked(self, now: float) -> list[Effect]:
        if self._body:
            return self._next(now)
        self._tries = 0
        data, size = (heading.LAST, 0) if self._all_sent else self._headings[self._document]
        self._begin_document(size)
        return [self._send(frame.build(0, data, crc=self._crc), Phase.BLOCK, now)]

    def _acknowledged(self, now: float) -> list[Effect]:
        if self._body:
            return super()._acknowledged(now)
        if self._all_sent:
            return self._finish()
        self._body = True
        self._await(now)
        return self._want()

    def _ended(self, now: float) -> list[Effect]:
        self._body = False
        self._document += 1
        self._await(now)
        return [Ended()]

    def _await(self, now: float) -> None:
        self._phase, self._deadline = Phase.REQUEST, now + self._seconds

    @property
    def _seconds(self) -> float:
        """For an answer. A receiver that has all documents, and may have left, is not waited for as long."""
        return self._patience.last if self._all_known else self._patience.answer

    def _not_asked(self) -> list[Effect]:
        """A receiver that leaves after the last document has all of them."""
        return self._finish() if self._all_known else super()._not_asked()

    def _not_answered(self, now: float) -> list[Effect]:
        gone = self._all_known and self._tries >= limits.BLOCK_LAST_TRIES
        return self._finish() if gone else super()._not_answered(now)

    @property
    def _all_known(self) -> bool:
        return self._all_sent and bool(self._headings)


class YmodemReceiver(Receiver):
    """Receives documents; its caller knows what is too large, and cancels."""

    _other_kind = MappingProxyType({1: "The sender speaks XMODEM, not YMODEM"})

    def __init__(self, now: float, patience: Patience = _PATIENCE) -> None:
        super().__init__(now, patience, fallback=False)
        self._expected = 0
        self._begun = False  # a document, whose heading came
        self._documents = 0
        self._left: int | None = None
        self._beyond = 0  # blocks behind the last byte: a document may have grown meanwhile

    def _block(self, data: bytes, now: float) -> list[Effect]:
        if not self._begun:
            return self._heading(data, now)
        self._expected += 1
        if self._left is not None:
            if not self._left:
                self._beyond += 1
                if self._beyond > self._patience.tries:
                    return self.cancel("The document is longer than was told")
                return [self._reply(bytes([ACK]), now)]
            data = data[: self._left]
            self._left -= len(data)
        return [Block(data), self._reply(bytes([ACK]), now)]

    def _heading(self, data: bytes, now: float) -> list[Effect]:
        document = heading.read(data)
        if document is None:
            return self._finish(now)
        if self._documents == limits.BLOCK_DOCUMENTS:
            return self.cancel("Too many documents")
        self._documents += 1
        self._begun, self._left, self._beyond, self._expected = True, document.size, 0, 1
        return [document, self._ask_on(now)]

    def _ask_on(self, now: float) -> Effect:
        self._asking, self._asked = True, 1
        return self._reply(bytes([ACK]) + self._request(), now)

    def _again(self, now: float) -> list[Effect]:
        if self._expected <= 1:
            return [self._ask_on(now)]
        return super()._again(now)

    def _end_is_known(self) -> bool:
        return not self._begun and self._documents > 0

    def _end(self, now: float) -> list[Effect]:
        if not self._begun:
            return self.cancel("The end came before a document")
        if self._left:
            return self.cancel("The document broke off")
        self._begun, self._expected, self._last, self._tries = False, 0, None, 0
        return [Ended(), self._ask_on(now)]
