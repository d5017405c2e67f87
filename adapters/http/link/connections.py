"""httpcore's connections and pool, such that whoever gives up leaves nothing behind.

httpcore's locks let the loop turn once even where they are free (anyio's checkpoints). A task that is
cancelled in just that moment would leave a connection open that its pool takes for used, for ever; one
cancelled a second time while it closes a connection would leave that, and its request in the pool's list.
asyncio's own locks do not wait where they are free, and nothing else in between does.
"""

import asyncio
import ssl

import httpcore


class Connection(httpcore.AsyncHTTPConnection):
    """One connection, of HTTP/1.1 only."""

    def __init__(
        self,
        *,
        origin: httpcore.Origin,
        network_backend: httpcore.AsyncNetworkBackend,
        ssl_context: ssl.SSLContext | None = None,
        keepalive_expiry: float | None = None,
    ) -> None:
        super().__init__(
            origin=origin,
            network_backend=network_backend,
            ssl_context=ssl_context,
            keepalive_expiry=keepalive_expiry,
        )
        self._connecting = asyncio.Lock()

    async def handle_async_request(self, request: httpcore.Request) -> httpcore.Response:
        """As httpcore does it, but for the locks."""
        try:
            async with self._connecting:
                self._connection = self._connection or await self._connected(request)
        except BaseException:
            self._connect_failed = True
            raise
        try:
            return await self._connection.handle_async_request(request)
        except httpcore.ConnectionNotAvailable:  # another request has it
            raise
        except BaseException:
            await self._connection.aclose()  # it does so itself, unless it fails before it begins
            raise

    async def _connected(self, request: httpcore.Request) -> httpcore.AsyncHTTP11Connection:
        made = httpcore.AsyncHTTP11Connection(
            origin=self._origin,
            stream=await self._connect(request),
            keepalive_expiry=self._keepalive_expiry,
        )
        made._state_lock = asyncio.Lock()  # type: ignore[assignment]
        return made


class Pool(httpcore.AsyncConnectionPool):
    """Of such connections."""

    def create_connection(self, origin: httpcore.Origin) -> Connection:
        """A new one, not yet dialled."""
        return Connection(
            origin=origin,
            network_backend=self._network_backend,
            ssl_context=self._ssl_context,
            keepalive_expiry=self._keepalive_expiry,
        )
