"""What changes want to have to themselves -> whose turn it is, in the order in which they came."""

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager


class _Ticket:
    def __init__(self, wanted: Mapping[str, int]) -> None:
        self.wanted = wanted
        self.due = asyncio.Event()


class Turns:
    """Queues at targets and far servers, on one event loop.

    Everybody stands in all queues that concern them from the same moment on: so of two changes of one target
    the later one is made later, whatever else the earlier one waits for, and nobody waits in a circle.
    """

    def __init__(self) -> None:
        self._queues: dict[str, list[_Ticket]] = {}

    @asynccontextmanager
    async def place(self, wanted: Mapping[str, int]) -> AsyncIterator[asyncio.Event]:
        """A place in the queue at each name, from now on; it is set when it is their turn at all of them.
        With each name goes how many may be at it at one time.
        """
        ticket = _Ticket(wanted)
        for name in wanted:
            self._queues.setdefault(name, []).append(ticket)
        self._call(ticket)
        try:
            yield ticket.due
        finally:
            self._leave(ticket)

    def _leave(self, ticket: _Ticket) -> None:
        for name, room in ticket.wanted.items():
            queue = self._queues[name]
            queue.remove(ticket)
            if not queue:
                del self._queues[name]
            for each in queue[:room]:
                self._call(each)

    def _call(self, ticket: _Ticket) -> None:
        if all(ticket in self._queues[name][:room] for name, room in ticket.wanted.items()):
            ticket.due.set()
