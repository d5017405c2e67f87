"""one document <-> XMODEM: blocks of 128 bytes, or 1,024, with a checksum or CRC.

XMODEM tells neither name nor length, and its last block is filled up with SUB. What is received is kept
with that, since a document may end in such bytes itself; only a text, which ends at its first SUB by
custom, is cut there in its last block.
"""

from types import MappingProxyType

from gateway.wire.blocks.effects import Block, Effect, Ended
from gateway.wire.blocks.frame import ACK, SUB
from gateway.wire.blocks.patience import Patience
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Sender

_PATIENCE = Patience()


class XmodemSender(Sender):
    """Sends one document. With `kilobyte`, blocks of 1,024 bytes to a receiver that asks for CRC."""

    def __init__(self, now: float, patience: Patience = _PATIENCE, *, kilobyte: bool = False) -> None:
        super().__init__(now, patience, kilobyte=kilobyte)

    def _asked(self, now: float) -> list[Effect]:
        return self._next(now)

    def _ended(self, now: float) -> list[Effect]:
        return [Ended(), *self._finish()]


class XmodemReceiver(Receiver):
    """Receives one document; its caller knows how much is too much, and cancels. `text`: cut at SUB."""

    _other_kind = MappingProxyType({0: "The sender speaks YMODEM, not XMODEM"})

    def __init__(self, now: float, patience: Patience = _PATIENCE, *, text: bool = False) -> None:
        super().__init__(now, patience, fallback=True)
        self._text = text
        self._kept = b""  # the last block of a text

    def _block(self, data: bytes, now: float) -> list[Effect]:
        self._expected += 1
        if self._text:
            data, self._kept = self._kept, data
        effects: list[Effect] = [Block(data)] if data else []
        return [*effects, self._reply(bytes([ACK]), now)]

    def _end(self, now: float) -> list[Effect]:
        rest = self._kept.partition(bytes([SUB]))[0]
        effects: list[Effect] = [Block(rest)] if rest else []
        return [*effects, Ended(), *self._finish(now)]
