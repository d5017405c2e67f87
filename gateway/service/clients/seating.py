"""a connection's events -> the session that it goes on with: its own, or one whose line was lost.

There are two kinds of seat. One is a listener's (`resume = true`, for one machine on one port): the first
request of a new line may be AGAIN. The other is a member's: AGAIN may be the first request after LOGIN. Who
has logged in sits in the member's only, so that nobody takes a member's session up without the secret.
"""

import asyncio
from collections.abc import Callable

from gateway.service.clients.resuming import Holder, Seat
from gateway.session.arriving import Arrival, is_again, starts_afresh
from gateway.session.conversation import Session
from gateway.wire.lines import Event, LineReader


class Seating:
    """One connection's. `seat` is where its session is kept, if anywhere; `of_member` gives a member's."""

    def __init__(self, holder: Holder, own: Seat | None, of_member: Callable[[str], Seat]) -> None:
        self.seat = own
        self._holder, self._own, self._of_member = holder, own, of_member
        self._arrival = None if own is None else Arrival(lambda: own.session)
        self._member = ""
        self._fresh = True  # nothing was asked since LOGIN, or since the line is there

    @property
    def undecided(self) -> bool:
        """Whether the line may still turn out to be another's that was lost."""
        return self._arrival is not None

    @property
    def held(self) -> bool:
        """Whether this connection's session is kept when its line is lost."""
        return self.seat is not None and self.seat.held_by(self._holder)

    def keeps(self, session: Session) -> bool:
        """Whether a client may go on with that on another line."""
        return self.seat is not None and self.seat.session is session

    def feed(self, data: bytes, pending: int) -> None:
        """Bytes came; `pending` of those before them have not been looked at."""
        if self._arrival is not None:
            self._arrival.feed(data, pending)

    async def event(self, session: Session, event: Event | None) -> tuple[Session, Event | None]:
        """The session to go on with, and the event for it; another session than the connection's own is one
        that was lost, and the event its AGAIN.
        """
        self._follow(session)
        seat = self.seat
        if seat is None:
            return session, event
        reader, again = self._resumes(session, event, seat)
        if again is not None:
            kept = await seat.resume(self._holder)
            if kept is not None and reader is not None:
                self._arrival = None
                kept.resume(reader, session.who.visitor)
                return kept, again
        elif self._may_take(seat) and starts_afresh(event, session.reader.settings):
            self._arrival, self._fresh = None, False
            seat.take(self._holder, session)
        return session, event

    def leave(self, unfinished: "asyncio.Task[None] | None", *, for_good: bool) -> None:
        """The line is gone; as `Seat.leave`."""
        if self.seat is not None:
            self.seat.leave(self._holder, unfinished, for_good=for_good)

    def _resumes(
        self, session: Session, event: Event | None, seat: Seat
    ) -> tuple[LineReader | None, Event | None]:
        """How the bytes behind an AGAIN are read on, and that AGAIN; None where there is none that counts."""
        if self._arrival is not None:
            again = self._arrival.again(session.reader.pending)
            return self._arrival.reader, again
        if not (self._member and self._fresh) or not is_again(event, session.reader.settings):
            return None, None
        self._fresh = False
        if seat.session is None:
            return None, None
        reader = seat.session.reader.reconnected()
        reader.feed(session.reader.take_waiting())
        return reader, event

    def _may_take(self, seat: Seat) -> bool:
        """A listener's seat whoever asks last; a member's once, so that two lines of one member leave each
        other alone.
        """
        return not seat.held_by(self._holder) and (self._fresh or not self._member)

    def _follow(self, session: Session) -> None:
        """Somebody has logged in or out since."""
        if session.who.member == self._member:
            return
        self.leave(None, for_good=True)
        self._member, self._fresh = session.who.member, True
        self._arrival = None
        self.seat = self._of_member(self._member) if self._member else self._own
