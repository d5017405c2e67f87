"""sender or receiver -> a transfer over a counter's line, from its first byte to the quiet behind it.

The transfer's clock stands while a wish is granted or the line takes what is sent: neither is the partner's
silence. What comes meanwhile answers nothing that is still to be sent; it is fed first, for a CAN in it.
"""

from abc import ABC, abstractmethod
from collections import deque
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError
from gateway.catalogue.model import Handshake, SerialDevice
from gateway.session.counter.steps import Came, Talk, listen, say
from gateway.wire.blocks import frame
from gateway.wire.blocks.effects import Done, Effect, Failed, Send
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Sender
from gateway.wire.settings import Settings

_MOMENT: Final = 0.001  # seconds: what the clock moves on where it stands, so that an answer comes later
_PARTNERS: Final = frozenset({bytes([frame.SOH]), bytes([frame.STX]), bytes([frame.EOT])})
"""What no keyboard begins with, and a sender that missed the last acknowledgement does."""


def unclean(settings: Settings, device: SerialDevice | None) -> str:
    """Why a line does not carry every byte as it is, in a sentence; empty where it does."""
    if settings.bits == 7 or (device is not None and device.bits == 7):
        return "This line has 7 bits; a transfer needs 8"
    if settings.flow == "xon" or (device is not None and device.handshake is Handshake.XONXOFF):
        return "This line keeps 11h and 13h for itself; a transfer needs every byte"
    return ""


class _Clock:
    """`now` begins at 0; `real` are seconds of the shell's clock."""

    def __init__(self, real: float) -> None:
        self.now = 0.0
        self._ahead = real

    def goes_on(self, real: float) -> None:
        """Time passed that counts."""
        self.now = max(self.now, real - self._ahead)

    def stands(self, real: float, moment: float = 0.0) -> None:
        """Time passed that does not, but for a moment."""
        self.now += moment
        self._ahead = real - self.now

    def real(self, at: float) -> float:
        """When that will be."""
        return at + self._ahead


class Transfer(ABC):
    """One transfer. `failed` is why it ended, empty where it went well."""

    def __init__(self) -> None:
        self.failed = ""
        self._queue = deque[Effect]()
        self._over = False
        self._side: Sender | Receiver
        self._clock: _Clock

    def run(self) -> Talk[bytes]:
        """All of it, and a pause behind it. What the client said in that which is no part of it."""
        came = yield from listen(0)
        self._clock = clock = _Clock(came.now)
        self._side = side = self._begin(clock.now)
        if isinstance(side, Sender):  # its partner may be quicker than the line that told it to start
            self._queue += side.feed(came.data, clock.now)
        try:
            while True:
                yield from self._do_all()
                if self._over:
                    break
                due = side.due()
                came = yield from listen(None if due is None else clock.real(due))
                clock.goes_on(came.now)
                if came.data:
                    self._queue += side.feed(came.data, clock.now)
                self._queue += side.at(clock.now)
        finally:
            self._let_go()
        return (yield from self._settled())

    def answers_late(self, came: Came) -> Talk[bool]:
        """Whether what came long after the end is a partner's that missed it; it is answered then."""
        if self.failed or came.data[:1] not in _PARTNERS:
            return False
        yield from self._answer_late(came)
        yield from self._settled(late=True)
        return True

    def _do_all(self) -> Talk[None]:
        while self._queue:
            effect = self._queue.popleft()
            match effect:
                case Send(data):
                    said = yield from say(data)
                    self._clock.stands(said.now, _MOMENT)
                case Done():
                    self._over = True
                case Failed(reason):
                    self._over, self.failed = True, reason
                case _:
                    yield from self._wished(effect)

    def _wished(self, effect: Effect) -> Talk[None]:
        side, clock = self._side, self._clock
        try:
            more = yield from self._do(effect)
        except HeadraceError as error:
            self._queue.clear()
            self._queue += side.cancel(error.sentence) or [Send(frame.CANCEL), Failed(error.sentence)]
            return
        came = yield from listen(0)
        clock.stands(came.now)
        if came.data:
            self._queue += side.feed(came.data, clock.now)
        if more is not None and isinstance(side, Sender):
            self._queue += side.supply(more, clock.now)

    def _settled(self, *, late: bool = False) -> Talk[bytes]:
        """Let the client's program end: after a failure until it is quiet, since what it still sends is none
        of its user's; else it may go on at once.
        """
        while True:
            came = yield from listen(self._clock.real(self._clock.now) + limits.COUNTER_PAUSE_SECONDS)
            if not came.data:
                self._clock.goes_on(came.now)
                return b""
            late = late or came.data[:1] in _PARTNERS
            if not self.failed and not late:
                return came.data
            yield from self._answer_late(came)

    def _answer_late(self, came: Came) -> Talk[None]:
        self._clock.goes_on(came.now)
        for effect in self._side.feed(came.data, self._clock.now):
            if isinstance(effect, Send):  # pragma: no branch — who is done says nothing else
                said = yield from say(effect.data)
                self._clock.stands(said.now, _MOMENT)

    @abstractmethod
    def _begin(self, now: float) -> Sender | Receiver:
        """What is to be driven; its clock begins at `now`."""

    @abstractmethod
    def _do(self, effect: Effect) -> Talk[bytes | None]:
        """What belongs to the documents; bytes where they were wanted."""

    def _let_go(self) -> None:  # noqa: B027 - not every transfer holds something
        """It is over, however that came about."""
