"""(key, how to start) -> one shared result: many simultaneous askers, one piece of work (single flight).

RFC 9111 section 4 calls it collapsing requests. The work belongs to no asker: one that is cancelled, or
whose time is up, leaves without a trace, and only the last one out cancels the work, and says if it was for
lack of time.
"""

import asyncio
import contextvars
import copy
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from adapters.errors import GatewayFull, HeadraceError
from adapters.in_hand import IN_HAND, InHand
from adapters.recorded.asking import LATE

T = TypeVar("T")


@dataclass(slots=True, eq=False)
class Flight(Generic[T]):
    """One piece of work under way, since when on the loop's clock. `wanted`: some asker has a use for its
    result beyond the moment. `hand`: what it has in memory, which is all its askers'.
    """

    since: float
    wanted: bool = False
    askers: int = 0
    hand: InHand | None = None
    task: asyncio.Task[T] = field(init=False)


class Flights(Generic[T]):
    """The work under way, by key. All methods are called on the event loop's thread."""

    def __init__(self) -> None:
        self._flights: dict[str, Flight[T]] = {}
        self._tasks: set[asyncio.Task[T]] = set()
        self._closing = False

    def __len__(self) -> int:
        return len(self._tasks)

    def since(self, key: str) -> float | None:
        """When the work for `key` that can be joined began, on the loop's clock; None: there is none."""
        flight = self._flights.get(key)
        return None if flight is None else flight.since

    async def share(
        self,
        key: str,
        start: Callable[[Flight[T]], Coroutine[Any, Any, T]],
        seconds: float,
        *,
        wanted: bool = False,
    ) -> T:
        """The result of the work for `key`, which `start` begins unless it is under way already.

        TimeoutError: not done within this asker's own `seconds`. A failure of the work reaches every
        asker as a HeadraceError of its own, for one exception raised in several tasks would mix their
        tracebacks; what is outside that tree becomes "The gateway failed", caused by it.
        """
        flight = self._flights.get(key)
        if flight is None:
            flight = self._flights[key] = Flight(asyncio.get_running_loop().time())
            flight.task = asyncio.create_task(start(flight), context=_within(flight))
            self._tasks.add(flight.task)
            flight.task.add_done_callback(self._landed(key, flight))
        flight.wanted |= wanted
        flight.askers += 1
        why, hand = None, IN_HAND.get()
        try:
            await asyncio.wait((flight.task,), timeout=max(0.0, seconds))
            why = LATE
        finally:
            if hand is not None and flight.hand is not None:
                hand.join(flight.hand)
            flight.askers -= 1
            if not flight.askers and not flight.task.done():
                self._unlist(key, flight)
                flight.task.cancel(why)
            if not flight.askers and flight.hand is not None:
                flight.hand.leave()
                flight.hand = None
        if not flight.task.done():
            raise TimeoutError
        if flight.task.cancelled():
            raise GatewayFull("The gateway is going down") if self._closing else HeadraceError
        fault = flight.task.exception()
        if fault is not None:
            raise _own(fault) from fault
        return flight.task.result()

    def detach(self, prefix: str) -> None:
        """Let nobody new join work whose key begins with `prefix`; who is aboard stays aboard."""
        for key in [each for each in self._flights if each.startswith(prefix)]:
            del self._flights[key]

    async def aclose(self) -> None:
        """Cancel all work and wait until it has ended; who still waits for it gets GatewayFull."""
        self._closing = True
        tasks = tuple(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    def _landed(self, key: str, flight: Flight[T]) -> Callable[[asyncio.Task[T]], None]:
        def landed(task: asyncio.Task[T]) -> None:
            self._tasks.discard(task)
            self._unlist(key, flight)
            if not task.cancelled():
                task.exception()  # seen, even if every asker has left meanwhile

        return landed

    def _unlist(self, key: str, flight: Flight[T]) -> None:
        if self._flights.get(key) is flight:
            del self._flights[key]


def _own(fault: BaseException) -> HeadraceError:
    """A copy for one asker, with the same code, sentence and seconds."""
    return copy.copy(fault) if isinstance(fault, HeadraceError) else HeadraceError()


def _within(flight: Flight[T]) -> contextvars.Context:
    """What the flight's work runs in: what it has in hand is its own."""
    context, hand = contextvars.copy_context(), IN_HAND.get()
    if hand is not None:
        flight.hand = hand.of_shared()
        context.run(IN_HAND.set, flight.hand)
    return context
