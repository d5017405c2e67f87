"""supplied bytes, answers -> effects: the sender that XMODEM and YMODEM share.

One block is on its way at a time, and its answer decides: ACK goes on, NAK sends it again, anything else is
waited out. What comes at the very instant at which a block is sent was there before, and answers nothing.
"""

from abc import ABC, abstractmethod
from enum import Enum, auto
from typing import Final

from adapters import limits
from gateway.wire.blocks import frame
from gateway.wire.blocks.effects import Done, Effect, Failed, Send, Want
from gateway.wire.blocks.frame import ACK, ASK_CRC, CAN, CANCEL, EOT, NAK, SIZES, SOH, STX
from gateway.wire.blocks.patience import Patience

_SMALL: Final = SIZES[SOH]
_LARGE: Final = SIZES[STX]


class Phase(Enum):
    """What the sender waits for."""

    REQUEST = auto()  # to be asked for a document
    BLOCK = auto()  # the answer to a block
    SUPPLY = auto()  # bytes of the document
    END = auto()  # the answer to EOT
    OVER = auto()


class Sender(ABC):
    """What both have in common: the blocks of one document after another."""

    def __init__(self, now: float, patience: Patience, *, kilobyte: bool) -> None:
        self._patience = patience
        self._kilobyte = kilobyte
        self._phase = Phase.REQUEST
        self._deadline: float | None = now + patience.answer
        self._crc = True
        self._sent = b""
        self._sent_at: float | None = None
        self._tries = 0
        self._cancels = 0
        self._seven = 0
        self._document = 0
        self._begin_document(None)

    def _begin_document(self, size: int | None) -> None:
        self._ahead = bytearray()  # supplied and not sent yet
        self._left = size  # bytes still to be supplied, where that is known
        self._supplied = size == 0  # all of it
        self._wanted = 0
        self._number = 0  # of the block sent last

    def due(self) -> float | None:
        """When `at` is to be called; None while bytes are wanted, and once it is over."""
        return self._deadline

    def at(self, now: float) -> list[Effect]:
        """What is to be done because time went by; nothing before `due`."""
        if self._deadline is None or now < self._deadline:
            return []
        if self._phase is Phase.REQUEST:
            return self._not_asked()
        return self._not_answered(now)

    def feed(self, data: bytes, now: float) -> list[Effect]:
        """What is to be done about these bytes of the receiver's."""
        effects: list[Effect] = []
        for byte in data:
            if self._phase is Phase.OVER:
                break
            if byte == CAN:
                self._cancels += 1
                if self._cancels == 2:
                    self._over()
                    effects.append(Failed("The receiver gave up"))
                continue
            self._cancels = 0
            if now != self._sent_at:
                effects += self._answer(byte, now)
        return effects

    def supply(self, data: bytes, now: float) -> list[Effect]:
        """The bytes that a `Want` asked for, none for the end. ValueError where nobody asked for them.

        Nothing where the transfer is over meanwhile.
        """
        if self._phase is Phase.OVER:
            return []
        if not self._wanted or len(data) > self._wanted:
            raise ValueError("more than was wanted")
        self._wanted = 0
        if self._left is not None:
            self._left -= len(data)
            if not data:
                return self.cancel("The document is shorter than was told")
        self._ahead += data
        self._supplied = not data or self._left == 0
        return self._next(now) if self._phase is Phase.SUPPLY else self._want()

    def cancel(self, reason: str) -> list[Effect]:
        """Give up: the other side is told. Nothing where it is over already."""
        if self._phase is Phase.OVER:
            return []
        self._over()
        return [Send(CANCEL), Failed(reason)]

    # What a protocol adds

    @abstractmethod
    def _asked(self, now: float) -> list[Effect]:
        """The receiver asks for what comes next."""

    def _not_asked(self) -> list[Effect]:
        """It should have by now."""
        return self.cancel("Nobody asked for the document")

    def _not_answered(self, now: float) -> list[Effect]:
        """What was sent has been waited for long enough."""
        return self._send_again(now, "The receiver does not answer")

    def _acknowledged(self, now: float) -> list[Effect]:
        """The receiver has the block."""
        return self._next(now)

    @abstractmethod
    def _ended(self, now: float) -> list[Effect]:
        """The receiver has the document."""

    # Answers

    def _answer(self, byte: int, now: float) -> list[Effect]:
        if self._phase is Phase.REQUEST:
            return self._request(byte, now)
        if self._phase is Phase.SUPPLY:
            return []  # impatience at most: what is there is sent as soon as it is
        if byte == ACK:
            return self._ended(now) if self._phase is Phase.END else self._acknowledged(now)
        if byte == NAK or (byte == ASK_CRC and (self._number <= 1 or self._phase is Phase.END)):
            return self._send_again(now, "The receiver refuses every try")
        return []

    def _request(self, byte: int, now: float) -> list[Effect]:
        if byte in {ASK_CRC, NAK}:
            self._crc = byte == ASK_CRC
            return self._asked(now)
        if byte & 0x7F in {ASK_CRC, NAK}:
            self._seven += 1
            if self._seven >= limits.BLOCK_SEVEN:
                return self.cancel("The line carries only seven bits")
        return []

    # Blocks

    def _next(self, now: float) -> list[Effect]:
        """The next block, or the end, or the wish for more."""
        size = _LARGE if self._kilobyte and self._crc else _SMALL
        if len(self._ahead) < size:
            if not self._supplied:
                self._phase, self._deadline = Phase.SUPPLY, None
                return self._want()
            if not self._ahead:
                self._tries = 0
                return [self._send(bytes([EOT]), Phase.END, now)]
            if len(self._ahead) <= size - _SMALL:
                size = _SMALL  # which fills up less
        data = bytes(self._ahead[:size])
        del self._ahead[:size]
        self._number += 1
        self._tries = 0
        return [self._send(frame.build(self._number, data, crc=self._crc), Phase.BLOCK, now), *self._want()]

    def _want(self) -> list[Effect]:
        if self._supplied or self._wanted or len(self._ahead) > limits.BLOCK_AHEAD_BYTES // 2:
            return []
        count = limits.BLOCK_AHEAD_BYTES - len(self._ahead)
        self._wanted = count if self._left is None else min(count, self._left)
        return [Want(self._wanted, self._document)]

    def _send(self, data: bytes, phase: Phase, now: float) -> Send:
        self._phase, self._sent, self._sent_at = phase, data, now
        self._deadline = now + self._seconds
        return Send(data)

    @property
    def _seconds(self) -> float:
        """For an answer."""
        return self._patience.answer

    def _send_again(self, now: float, reason: str) -> list[Effect]:
        self._tries += 1
        if self._tries > self._patience.tries:
            return self.cancel(reason)
        return [self._send(self._sent, self._phase, now)]

    def _over(self) -> None:
        self._phase, self._deadline = Phase.OVER, None
        self._ahead, self._sent = bytearray(), b""

    def _finish(self) -> list[Effect]:
        self._over()
        return [Done()]
