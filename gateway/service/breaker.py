"""a far server, and how it answered -> whether it is asked now: one that only keeps everybody waiting is not.

After limits.BREAKER_FAILURES slow failures in a row nobody is kept waiting for a while; then one asker tries
it, while the others are still told at once (half-open), and its success ends that. A server that refuses at
once costs nobody time and is asked as before. (The circuit breaker of common practice.)
"""

import asyncio
import logging
import math
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass

from adapters import limits
from adapters.errors import BrokenOff, CannotConnect, FarBusy, HeadraceError, TooSlow

_log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Circuit:
    """One far server's. `until`: when it may be tried again, None while it is asked as usual."""

    failures: int = 0
    until: float | None = None
    rest: float = limits.BREAKER_REST_SECONDS
    tried: bool = False  # by one asker, just now


class Breaker:
    """Shared by all clients. `clock` tells seconds."""

    def __init__(self, clock: Callable[[], float] | None = None) -> None:
        self._clock = clock or (lambda: asyncio.get_running_loop().time())
        self._circuits: OrderedDict[str, _Circuit] = OrderedDict()

    @property
    def open(self) -> int:
        """How many far servers are left alone now."""
        return sum(each.until is not None for each in list(self._circuits.values()))

    def check(self, url: str) -> None:
        """FarBusy, with the seconds to wait, where the URL's server is left alone now."""
        circuit = self._circuits.get(origin_of(url))
        if circuit is not None and circuit.until is not None:
            left = circuit.until - self._clock()
            if left > 0 or circuit.tried:
                raise FarBusy("The far server does not answer; wait", max(1, math.ceil(left)))

    @asynccontextmanager
    async def trying(self, url: str) -> AsyncIterator[None]:
        """Ask the URL's server, or FarBusy as `check` says."""
        origin = origin_of(url)
        if not origin:
            yield
            return
        self.check(url)
        circuit = self._circuits.setdefault(origin, _Circuit())
        self._circuits.move_to_end(origin)
        while len(self._circuits) > limits.BREAKERS:
            self._circuits.popitem(last=False)
        probe = circuit.until is not None
        circuit.tried = circuit.tried or probe
        began = self._clock()
        try:
            yield
        except (TooSlow, CannotConnect, BrokenOff, asyncio.CancelledError):
            if self._clock() - began >= limits.BREAKER_SLOW_SECONDS:
                self._failed(origin, circuit)
            raise
        except HeadraceError:  # it answered
            self._answered(origin, circuit)
            raise
        else:
            self._answered(origin, circuit)
        finally:
            if probe:
                circuit.tried = False

    def _failed(self, origin: str, circuit: _Circuit) -> None:
        circuit.failures += 1
        if circuit.failures < limits.BREAKER_FAILURES:
            return
        if circuit.until is not None:
            if self._clock() < circuit.until:  # begun before, and as slow as those that told
                return
            circuit.rest = min(2 * circuit.rest, limits.BREAKER_REST_MOST_SECONDS)
        circuit.until = self._clock() + circuit.rest
        _log.warning("origin=%s does not answer, and is left alone for %d seconds", origin, circuit.rest)

    def _answered(self, origin: str, circuit: _Circuit) -> None:
        if circuit.until is not None:
            _log.warning("origin=%s answers again", origin)
        circuit.failures, circuit.until, circuit.rest = 0, None, limits.BREAKER_REST_SECONDS


def origin_of(url: str) -> str:
    """scheme://host:port as it is written, without a user; empty for a folder of this computer."""
    scheme, _, rest = url.partition("://")
    if scheme == "file":
        return ""
    authority = rest.partition("/")[0].partition("?")[0].rpartition("@")[2]
    return f"{scheme}://{authority.lower()}"
