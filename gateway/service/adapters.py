"""Call -> Fetched by whichever adapter its scheme names; one instance of each for all clients."""

from contextlib import AsyncExitStack

from adapters.registry import lookup

from adapters.port import Adapter, Call, Fetched


class Adapters:
    """The adapters in use, made when first needed."""

    def __init__(self) -> None:
        self._made: dict[str, Adapter] = {}

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """The whole exchange within `seconds`, or a HeadraceError."""
        scheme = call.url.partition(":")[0].lower()
        adapter = self._made.get(scheme)
        if adapter is None:
            factory = lookup(scheme)
            adapter = next((each for each in self._made.values() if type(each) is factory), None) or factory()
            self._made[scheme] = adapter
        return await adapter.fetch(call, seconds)

    async def aclose(self) -> None:
        """Close every adapter once."""
        async with AsyncExitStack() as stack:
            for adapter in set(self._made.values()):
                stack.push_async_callback(adapter.aclose)
