"""Traits -> Machine: what receives at the far end of the line, and how much time it needs.

UART: a shift register, which takes a character off the line bit by bit, and behind it `uart_bytes` bytes of
holding register or FIFO. A character goes from the one to the other at the end of its last stop bit, and can
be picked up from that moment on. If all `uart_bytes` are taken then, that is an overrun, and one byte is
lost: the new one, or, with `Overrun.OLD`, the one that came before it, which the new one overwrites. Both
kinds are common practice; FIFOs mostly drop the new one. So a single holding register leaves one character's
time of slack: a byte is lost only if it is still there when the next one has come in completely.

Polled: the program picks each byte up itself; the byte has left the UART then. It works on the byte for
`byte_seconds`, after a line end for `record_seconds` more, or `status_seconds` after the first line, which is
the status line; so much later it can pick up the next at the earliest. From a look that sees a byte to
picking it up go `notice_seconds`, and between looks `look_seconds`, one turn of its waiting loop: a byte that
came in time for the look before that earliest moment is picked up then, and one that came later after the
first turn whose look sees it. A look sees what has come by its moment, that moment included. With 0 for both
the program waits without delay. At the beginning it waits already, and can pick up a byte at 0 or some turns
later.

A waiting loop adds little where the program is quick. Where a byte takes about as long as a character, its
few cycles decide which bytes are lost.

Interrupt: a routine of `service_seconds` brings each byte from the UART to the buffer; the byte leaves the
UART at the routine's end, and is lost there if the buffer is full. The routine goes before the program,
whose work takes so much longer. The program takes bytes out of the buffer one by one, in the times named
above; each leaves the buffer when its work begins.

Where several things happen at one moment, the program goes first, the interrupt routine's end second, and
what comes from the line last: who needs exactly the time there is loses nothing.
"""

from dataclasses import dataclass
from enum import Enum

from adapters import limits
from adapters.errors import WrongWords
from gateway.serial.framing import Number


class Receiver(Enum):
    """Who takes a byte from the UART: the program, when it looks, or an interrupt routine."""

    POLLED = "polled"
    INTERRUPT = "interrupt"


class Overrun(Enum):
    """Which byte is lost when one comes and the UART has no room."""

    NEW = "new"
    OLD = "old"


class EndsAt(Enum):
    """At which byte of a line end of two the program takes the line as ended and works on the record.

    FIRST is common practice among classic BASICs: at CR, and LF is a byte of the next line.
    """

    FIRST = "first"
    LAST = "last"


@dataclass(frozen=True, slots=True)
class XonXoff:
    """The machine's own flow control: 13h once its buffer holds `high` bytes, 11h once it holds `low` again.

    `reaction_seconds` go by before the character begins on the line.
    """

    high: int
    low: int
    reaction_seconds: Number = 0


@dataclass(frozen=True, slots=True)
class Machine:
    """What one machine can take; times in seconds. WrongWords: sizes or times that make no sense."""

    receiver: Receiver = Receiver.POLLED
    uart_bytes: int = 1
    overrun: Overrun = Overrun.NEW
    byte_seconds: Number = 0
    record_seconds: Number = 0
    service_seconds: Number = 0
    buffer_bytes: int = 128
    ends_at: EndsAt = EndsAt.FIRST
    xon: XonXoff | None = None
    status_seconds: Number | None = None  # None: as a record
    look_seconds: Number = 0
    notice_seconds: Number = 0

    @property
    def work_seconds(self) -> tuple[Number, ...]:
        """All its times but the reaction to a full buffer."""
        status = self.record_seconds if self.status_seconds is None else self.status_seconds
        work = (self.byte_seconds, self.record_seconds, status, self.service_seconds)
        return (*work, self.look_seconds, self.notice_seconds)

    def __post_init__(self) -> None:
        for size, name in ((self.uart_bytes, "the UART"), (self.buffer_bytes, "the buffer")):
            if not 1 <= size <= limits.SERIAL_BUFFER_BYTES:
                raise WrongWords(f"1-{limits.SERIAL_BUFFER_BYTES:,} bytes for {name}")
        for seconds in self.work_seconds:
            if not 0 <= seconds <= limits.SERIAL_WORK_SECONDS:
                raise WrongWords(f"work takes 0 to {limits.SERIAL_WORK_SECONDS} seconds")
        if self.receiver is not Receiver.POLLED and (self.look_seconds or self.notice_seconds):
            raise WrongWords("only a polled receiver looks for bytes and notices them")
        if self.notice_seconds > self.byte_seconds:
            raise WrongWords("noticing a byte is part of the byte's time, and cannot be longer")
        if self.xon is not None:
            self._check_marks(self.xon)

    def _check_marks(self, xon: XonXoff) -> None:
        if self.receiver is Receiver.POLLED:
            raise WrongWords("a polled receiver has no buffer to send XOFF for")
        if not 0 <= xon.low < xon.high <= self.buffer_bytes:
            raise WrongWords("XON comes below XOFF, and XOFF within the buffer")
        if not 0 <= xon.reaction_seconds <= limits.SERIAL_WORK_SECONDS:
            raise WrongWords(f"XOFF comes within {limits.SERIAL_WORK_SECONDS} seconds")
