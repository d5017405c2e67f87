"""a lost line -> its session, kept for a while for the line that takes it up with AGAIN (CONTRACT section 5).

`resume = true` is for one machine on one port: a listener has one Seat, and whoever asked last sits in it.
"""

import asyncio
from collections.abc import Callable
from typing import Protocol

from gateway.session.conversation import Session


class Holder(Protocol):
    """The connection of whoever sits in the seat."""

    def surrender(self) -> None:
        """Leave the seat, at once, and cut the line."""
        ...


class Seat:
    """The session that was last asked something at one listener: of a line that is there, or was lost."""

    def __init__(self, seconds: Callable[[], float]) -> None:
        self._seconds = seconds  # how long a lost line's session is kept
        self._session: Session | None = None
        self._holder: Holder | None = None
        self._unfinished: asyncio.Task[None] | None = None  # its last request, which goes on without a line
        self._expiry: asyncio.TimerHandle | None = None
        self._closed = False

    @property
    def session(self) -> Session | None:
        """What AGAIN on a new line would take up."""
        return self._session

    def held_by(self, holder: Holder) -> bool:
        """Whether this connection sits here."""
        return self._holder is holder

    def take(self, holder: Holder, session: Session) -> None:
        """This connection was asked something: what there was of another line is given up."""
        if not (self._closed or self._holder is holder):
            self._empty()
            self._holder, self._session = holder, session

    def leave(self, holder: Holder, unfinished: "asyncio.Task[None] | None", *, for_good: bool) -> None:
        """The holder's line is gone. `unfinished` works on its last request; `for_good`: it said goodbye."""
        if self._holder is not holder:
            return
        self._holder, self._unfinished = None, unfinished
        if for_good:
            self._empty()
        else:
            self._keep()

    async def resume(self, holder: Holder) -> Session | None:
        """The session, for this connection to go on with, once its last request is finished; None where there
        is none any more. A line that still seems to be there is cut.
        """
        wanted = self._session
        if wanted is None:
            return None
        try:
            while True:
                if self._holder is not None:
                    self._holder.surrender()
                self._stop_clock()
                if self._unfinished is None or self._unfinished.done():
                    break
                await asyncio.wait({self._unfinished})
                if self._session is not wanted:  # given up meanwhile, for another line's or for none
                    return None
        except asyncio.CancelledError:
            self._keep()  # this line was lost, too
            raise
        if self._session is None:  # the line that was there had said goodbye
            return None
        self._holder, self._unfinished = holder, None
        return self._session

    async def close(self) -> None:
        """The listener is no more, or keeps no lines any more."""
        self._closed = True
        unfinished = self._unfinished
        self._empty()
        if unfinished is not None:
            await asyncio.wait({unfinished})

    def _keep(self) -> None:
        self._stop_clock()
        if self._session is not None and self._holder is None:
            self._expiry = asyncio.get_running_loop().call_later(self._seconds(), self._empty)

    def _stop_clock(self) -> None:
        if self._expiry is not None:
            self._expiry.cancel()
            self._expiry = None

    def _empty(self) -> None:
        self._stop_clock()
        if self._unfinished is not None:
            self._unfinished.cancel()
        self._session = self._holder = self._unfinished = None
