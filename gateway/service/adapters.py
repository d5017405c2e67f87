"""Call -> Fetched by whichever adapter its scheme names; one instance of each for all clients."""

from collections.abc import Callable
from contextlib import AsyncExitStack

from adapters.port import Adapter, AdapterFactory, Call, Fetched
from adapters.registry import lookup
from gateway.service.breaker import Breaker


class Adapters:
    """The adapters in use, made when first needed, by `make` from what the registry knows."""

    def __init__(self, make: Callable[[AdapterFactory], Adapter] = lambda factory: factory()) -> None:
        self._make = make
        self._made: dict[AdapterFactory, Adapter] = {}
        self.breaker = Breaker()

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """The whole exchange within `seconds`, or a HeadraceError; FarBusy where it is left alone now."""
        async with self.breaker.trying(call.url):
            return await self.of(call.url).fetch(call, seconds)

    def of(self, url: str) -> Adapter:
        """The adapter that speaks a URL's scheme. NotPossible where there is none."""
        factory = lookup(url.partition(":")[0].lower())
        adapter = self._made.get(factory)
        if adapter is None:
            adapter = self._made[factory] = self._make(factory)
        return adapter

    async def aclose(self) -> None:
        """Close every adapter once."""
        async with AsyncExitStack() as stack:
            for adapter in self._made.values():
                stack.push_async_callback(adapter.aclose)
