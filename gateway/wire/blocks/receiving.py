"""bytes that came -> effects: the receiver that XMODEM and YMODEM share.

A block is refused by waiting until the line is quiet for a second, then NAK, as the description asks. A
block that came before, to the byte, is acknowledged again: its acknowledgement was lost. Any other wrong
number cannot be mended and gives up. EOT counts where nothing follows it at once, and only when it comes
again after a NAK, since a damaged byte may look like it.
"""

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from enum import Enum, auto
from typing import ClassVar, Final

from adapters import limits
from gateway.wire.blocks import frame
from gateway.wire.blocks.effects import Done, Effect, Failed, Send
from gateway.wire.blocks.frame import ACK, ASK_CRC, CAN, CANCEL, EOT, NAK, SIZES, Fault, Frame
from gateway.wire.blocks.patience import Patience

_GIVEN_UP: Final = re.compile(rb"\x18{5,}\x08*\Z")  # in the middle of a block, where two may be data
_TAIL: Final = 32  # bytes of what is thrown away in which that is looked for
_LIKE_A_BLOCK: Final = SIZES[frame.SOH] // 2  # bytes that may have been one


class _State(Enum):
    HEAD = auto()  # a block or EOT may begin
    BLOCK = auto()  # one has begun
    END = auto()  # EOT, if nothing follows
    PURGE = auto()  # throwing away until the line is quiet
    OVER = auto()


class Receiver(ABC):
    """What both have in common. The first request is due at once: call `at`."""

    _other_kind: ClassVar[Mapping[int, str]]
    """A first block's number -> what is wrong with it."""

    def __init__(self, now: float, patience: Patience, *, fallback: bool) -> None:
        self._patience = patience
        self._fallback = fallback  # whether to ask for checksums once nobody answers to CRC
        self._state = _State.HEAD
        self._deadline: float | None = now
        self._purged_by = now
        self._crc: bool | None = None  # until a block has shown it
        self._asking = True  # nothing of this document has come
        self._asked = 0
        self._tries = 0
        self._seven = 0
        self._cancels = 0
        self._replied_at: float | None = None
        self._held = bytearray()  # the frame that is coming, or the tail of what is thrown away
        self._lost = 0  # bytes thrown away since a block was understood
        self._last: Frame | None = None
        self._expected = 1
        self._ending = False  # an EOT has been refused once
        self._done = False

    def due(self) -> float | None:
        """When `at` is to be called; None once it is over."""
        return self._deadline

    def at(self, now: float) -> list[Effect]:
        """What is to be done because time went by; nothing before `due`."""
        if self._deadline is None or now < self._deadline:
            return []
        if self._state is _State.END:
            return self._end_stands(now)
        if self._state is _State.BLOCK:
            short = self._checksum_block()
            return self._arrived(short, now) if short else self._spoilt(now) or self._refuse(now)
        if self._state is _State.PURGE:
            return self._given_up() or self._refuse(now)
        return self._nothing_came(now)

    def feed(self, data: bytes, now: float) -> list[Effect]:
        """What is to be done about these bytes. After `Done` it still answers who missed the last ACK."""
        if self._done:
            return self._afterwards(data, now)
        effects = self._caught_up(now)
        position = 0
        while position < len(data) and self._state is not _State.OVER:
            if self._state is _State.BLOCK:
                position = self._collect(data, position, now)
                if len(self._held) == self._length():
                    effects += self._whole(now)
            elif self._state is _State.PURGE:
                self._throw_away(data[position:], now)
                position = len(data)
            else:
                effects += self._head(data[position], now)
                position += 1
        return effects

    def cancel(self, reason: str) -> list[Effect]:
        """Give up: the other side is told. Nothing where it is over already."""
        if self._state is _State.OVER:
            return []
        self._over()
        return [Send(CANCEL), Failed(reason)]

    # What a protocol adds

    @abstractmethod
    def _block(self, data: bytes, now: float) -> list[Effect]:
        """The block that was expected."""

    def _again(self, now: float) -> list[Effect]:
        """The last block once more."""
        return [self._reply(bytes([ACK]), now)]

    @abstractmethod
    def _end(self, now: float) -> list[Effect]:
        """The end of the document, beyond doubt."""

    def _end_is_known(self) -> bool:
        """Whether an EOT repeats one that has been acknowledged."""
        return False

    # Bytes

    def _head(self, byte: int, now: float) -> list[Effect]:
        if byte == CAN:
            self._cancels += 1
            if self._cancels < 2:
                return []
            self._over()
            return [Failed("The sender gave up")]
        cancels, self._cancels = self._cancels, 0
        if self._state is _State.END:
            if byte != EOT:
                self._purge(bytes([EOT, byte]), now)
        elif now == self._replied_at:
            pass  # was on its way before the reply, so it is no answer to it
        elif cancels:
            self._purge(bytes([CAN, byte]), now)
        elif byte == EOT:
            self._state, self._deadline = _State.END, now + self._patience.end
        elif byte in SIZES:
            self._state, self._deadline = _State.BLOCK, now + self._patience.between
            self._held = bytearray([byte])
        else:
            return self._garbage(bytes([byte]), now, seven=byte & 0x7F in SIZES)
        return []

    def _length(self) -> int:
        return frame.length(self._held[0], crc=self._crc is not False)

    def _collect(self, data: bytes, position: int, now: float) -> int:
        end = position + self._length() - len(self._held)
        self._held += data[position:end]
        self._deadline = now + self._patience.between
        return min(end, len(data))

    def _whole(self, now: float) -> list[Effect]:
        found = frame.read(bytes(self._held), crc=self._crc is not False)
        if isinstance(found, Frame):
            if self._crc is None:
                self._crc = True
            return self._arrived(found, now)
        return self._garbage(bytes(self._held), now, seven=found is Fault.SEVEN_BITS)

    def _garbage(self, data: bytes, now: float, *, seven: bool) -> list[Effect]:
        """`seven`: it could have been something but for bit 7, which a line may drop or use for parity."""
        self._seven = self._seven + 1 if seven else 0
        if self._seven >= limits.BLOCK_SEVEN:
            return self.cancel("The line carries only seven bits")
        self._purge(data, now)
        return []

    def _checksum_block(self) -> Frame | None:
        """A frame that ended a byte early, where it is not known yet which check the sender has."""
        whole = len(self._held) == frame.length(self._held[0], crc=False)
        if self._crc is not None or not self._fallen_back or not whole:
            return None
        found = frame.read(bytes(self._held), crc=False)
        if not isinstance(found, Frame):
            return None
        self._crc = False
        return found

    def _arrived(self, found: Frame, now: float) -> list[Effect]:
        self._seven = self._lost = 0
        self._ending = False
        if found.number == self._expected & 0xFF:
            self._tries, self._last = 0, found
            self._asking = False
            return self._block(found.data, now)
        if found == self._last:
            return self._counted("The same block came too often") or self._again(now)
        if self._last is None and found.number in self._other_kind:
            return self.cancel(self._other_kind[found.number])
        return self.cancel("The blocks came out of step")

    # Damage

    def _purge(self, garbage: bytes, now: float) -> None:
        self._state = _State.PURGE
        self._held = bytearray()
        self._purged_by = now + self._patience.block
        self._throw_away(garbage, now)

    def _throw_away(self, garbage: bytes, now: float) -> None:
        self._lost += len(garbage)
        self._held = (self._held + garbage[-_TAIL:])[-_TAIL:]
        self._deadline = min(now + self._patience.between, self._purged_by)

    def _given_up(self) -> list[Effect]:
        if not _GIVEN_UP.search(self._held):
            return []
        self._over()
        return [Failed("The sender gave up")]

    def _spoilt(self, now: float) -> list[Effect]:
        """A block broke off, and the line has been quiet since."""
        self._purge(bytes(self._held), now)
        return self._given_up()

    def _refuse(self, now: float) -> list[Effect]:
        return self._counted("Too many blocks were garbled") or [self._reply(self._request(), now)]

    def _caught_up(self, now: float) -> list[Effect]:
        """A pause that is only noticed now that bytes come after it: they get no refusal ahead of them."""
        if self._deadline is None or now < self._deadline or self._state is _State.HEAD:
            return []
        if self._state is _State.END:
            return self._end_stands(now)
        effects: list[Effect] = []
        if self._state is _State.BLOCK:
            short = self._checksum_block()
            if short:
                return self._arrived(short, now)
            effects = self._spoilt(now)
        effects = effects or self._given_up() or self._counted("Too many blocks were garbled")
        if not effects:
            self._state, self._deadline = _State.HEAD, now + self._patience.block
        return effects

    def _nothing_came(self, now: float) -> list[Effect]:
        if self._asking:
            self._asked += 1
        if not self._asking or self._asked > 1:
            failed = self._counted("Nothing came")
            if failed:
                return failed
        return [self._reply(self._request(), now)]

    def _request(self) -> bytes:
        if not self._asking or self._crc is False:
            return bytes([NAK])
        return bytes([NAK if self._crc is None and self._fallen_back else ASK_CRC])

    @property
    def _fallen_back(self) -> bool:
        return self._fallback and self._asked > self._patience.asks

    def _counted(self, reason: str) -> list[Effect]:
        """One more try of the same thing, or the end of them."""
        self._tries += 1
        return self.cancel(reason) if self._tries > self._patience.tries else []

    # The end

    def _end_stands(self, now: float) -> list[Effect]:
        self._cancels = 0
        if self._end_is_known():
            return self._counted("The end came too often") or self._again(now)
        if not self._ending:
            self._ending = True
            return [self._reply(bytes([NAK]), now)]
        if self._lost >= _LIKE_A_BLOCK:
            return self.cancel("The end came instead of a block")
        return self._end(now)

    def _over(self, *, done: bool = False) -> None:
        self._state, self._deadline, self._done = _State.OVER, None, done
        self._held = bytearray()

    def _finish(self, now: float) -> list[Effect]:
        reply = self._reply(bytes([ACK]), now)
        self._over(done=True)
        return [reply, Done()]

    def _afterwards(self, data: bytes, now: float) -> list[Effect]:
        """EOT, or the block that ends a batch, once more: its ACK was lost."""
        self._held = (self._held + data)[-frame.length(frame.SOH, crc=True) :]
        if now == self._replied_at or not (data.endswith(bytes([EOT])) or self._is_last(bytes(self._held))):
            return []
        self._replied_at = now
        self._held = bytearray()
        return [Send(bytes([ACK]))]

    def _is_last(self, data: bytes) -> bool:
        last = self._last
        return last is not None and data == frame.build(last.number, last.data, crc=self._crc is not False)

    def _reply(self, data: bytes, now: float) -> Send:
        first = self._asking and self._asked <= self._patience.asks
        self._state = _State.HEAD
        self._deadline = now + (self._patience.ask if first else self._patience.block)
        self._replied_at, self._cancels = now, 0
        return Send(data)
