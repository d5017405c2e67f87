"""reply lines -> a client's socket, at its pace, with its gaps, and not while it asks to wait.

The socket is given only what is due, and nothing while it has bytes of ours left: what a client could still
receive after it asked to wait is what is on its way already.
"""

import asyncio
import logging
from collections.abc import Callable
from typing import Final, Protocol

from adapters import limits
from gateway.service.clients.pacing import Pacing
from gateway.wire.pacing import Schedule
from gateway.wire.replies import Lines
from gateway.wire.settings import Settings

_log = logging.getLogger(__name__)
_LONGEST_LINE: Final = 2 * (limits.RECORD_WIDTH + 2)  # each byte doubled for telnet; more are bare bytes
_IAC: Final = b"\xff"


class Patience(Protocol):
    """What sending needs of the server."""

    @property
    def pacing(self) -> Pacing:
        """The one tick."""
        ...

    def stall_seconds(self) -> float:
        """How long a client may read nothing of a reply."""
        ...

    def idle_seconds(self) -> float:
        """How long a client may say nothing."""
        ...


class Meter:
    """Sends one reply after the other to a client whose pace, gap and flow are `settings`'.

    `heard_at`: when the client was last heard, by the loop's clock; `begins`: nothing is sent before that;
    `moved` is told how many bytes go out.
    """

    def __init__(
        self,
        house: Patience,
        transport: asyncio.Transport,
        settings: Settings,
        heard_at: Callable[[], float],
        *,
        begins: float = 0.0,
        moved: Callable[[int], None] = lambda _: None,
    ) -> None:
        self._house = house
        self._moved = moved
        self._transport = transport
        self._heard_at = heard_at
        self._loop = asyncio.get_running_loop()
        self._kept = (settings.pace, settings.gap, settings.flow)
        self._schedule = Schedule(settings.pace, settings.gap, max(begins, self._loop.time()))
        self._at_once = limits.METERED_BYTES if settings.flow == "xon" else limits.CHUNK_BYTES
        self._lines: Lines | None = None
        self._line = b""
        self._position = 0  # in it, of the next byte
        self._whole = True
        self._abandoned = False
        self._held = False
        self._blocked_at: float | None = None  # since when the socket has had bytes of ours
        self._sent: asyncio.Future[None] | None = None
        if transport.get_write_buffer_size():
            self.block()

    def keeps(self, settings: Settings) -> bool:
        """Whether it sends by these settings."""
        return self._kept == (settings.pace, settings.gap, settings.flow)

    @property
    def next_at(self) -> float:
        """When the next byte may leave, by the loop's clock."""
        return self._schedule.next_at

    async def send(self, lines: Lines, held: bool, whole: bool = True) -> None:
        """Send `lines` from now on; `held`: not before the client goes on; `whole`: a gap follows each item.

        It ends early where it is abandoned, or the line lost.
        """
        self._whole = whole
        self._lines, self._line, self._position = lines, b"", 0
        self._abandoned, self._held = False, held
        now = self._loop.time()
        self._schedule.resume(now)
        try:
            again = self._pump(now, 0.0)
            if again is not None:
                self._sent = self._loop.create_future()
                self._house.pacing.look(self, again)
                await self._sent
        finally:
            self._lines = self._sent = None
            self._house.pacing.forget(self)

    # What happens meanwhile

    def hold(self, held: bool) -> None:
        """The client asks to wait, or goes on."""
        if held != self._held:
            self._held = held
            self._schedule.resume(self._loop.time())
            self.look()

    def block(self) -> None:
        """The socket has not taken all."""
        self._blocked_at = self._loop.time()

    def unblock(self) -> None:
        """The socket has taken all. Only a long wait was the client's; a short one is the network's."""
        now, since = self._loop.time(), self._blocked_at
        self._blocked_at = None
        if since is not None and now - since > limits.TICK_LATE_SECONDS:
            self._schedule.resume(now)
        self.look()

    def abandon(self) -> None:
        """Stop at the end of the line that is being sent."""
        self._abandoned = True
        self.look()

    def look(self) -> None:
        """Something has changed: look at once."""
        if self._sent is not None:
            self._house.pacing.look(self, self._loop.time())

    # What the tick calls

    def pump(self, now: float, grain: float) -> float | None:
        """Send what is due, see `pacing.Metered`."""
        sent = self._sent
        try:
            again = self._pump(now, grain)
        except Exception as error:  # noqa: BLE001 it is for whoever waits for the reply's end
            if sent is not None and not sent.done():
                sent.set_exception(error)
            return None
        if again is None and sent is not None and not sent.done():
            sent.set_result(None)
        return again

    def _pump(self, now: float, grain: float) -> float | None:
        """When to look again; None: there is nothing more to send."""
        if self._transport.is_closing() or self._lines is None:
            return None
        if self._held or self._blocked_at is not None:
            return self._waiting(now)
        parts: list[bytes] = []
        room, over = self._at_once, False
        while room > 0:
            if self._position == len(self._line):
                line = None if self._abandoned else next(self._lines, None)
                if line is None:
                    over = True
                    break
                self._line, self._position = line, 0
            elif self._abandoned and len(self._line) > _LONGEST_LINE:
                if self._may_break:
                    over = True
                    break
                room = 1
            count = min(self._schedule.due(now, grain), len(self._line) - self._position, room)
            if not count:
                break
            parts.append(self._line[self._position : self._position + count])
            self._position += count
            room -= count
            ends = self._whole and self._position == len(self._line)
            self._schedule.sent(count, self._loop.time(), ends)
        if parts:
            data = b"".join(parts)
            self._moved(len(data))
            self._transport.write(data)
        if over:
            return None
        return self._waiting(now) if self._blocked_at is not None else self._schedule.next_at

    @property
    def _may_break(self) -> bool:
        """Whether bare bytes may stop here: not within a doubled FFh (RFC 854)."""
        sent = self._line[: self._position]
        return (len(sent) - len(sent.rstrip(_IAC))) % 2 == 0

    def _waiting(self, now: float) -> float | None:
        """Until when it may last that nothing can be sent; the line of who lets it last longer is cut."""
        if self._held:
            until = self._heard_at() + self._house.idle_seconds()
        else:
            assert self._blocked_at is not None
            until = self._blocked_at + self._house.stall_seconds()
        if now < until:
            return until
        cut_off(self._transport)
        return None


def cut_off(transport: asyncio.Transport) -> None:
    """Cut the line of a client that has read nothing for too long."""
    peer = transport.get_extra_info("peername")
    _log.info("peer=%s read nothing for too long", peer[0] if isinstance(peer, tuple) else "")
    transport.abort()
