"""Bytes -> the same bytes again, as often as wanted: kept in memory while few, then in a file.

The file has no name, and goes when it is closed or the gateway ends. Disk work is done beside the loop.
"""

import asyncio
from collections.abc import AsyncIterator
from tempfile import SpooledTemporaryFile
from types import TracebackType

from adapters import limits
from adapters.errors import NoRoom


class Spooled:
    """Use it as an asynchronous context. NoRoom where the gateway's disk takes no more."""

    def __init__(self, in_memory: int = limits.STAGE_BYTES) -> None:
        self._in_memory = in_memory
        self._file = SpooledTemporaryFile(max_size=in_memory)  # noqa: SIM115 - closed in __aexit__
        self.size = 0

    async def __aenter__(self) -> "Spooled":
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()

    async def add(self, data: bytes) -> None:
        """More, at the end."""
        self.size += len(data)
        if self.size > limits.SPOOL_BYTES:
            raise NoRoom("Too large to be added to")
        try:
            if self.size <= self._in_memory:
                self._file.write(data)
            else:
                await asyncio.to_thread(self._file.write, data)
        except OSError as error:
            raise NoRoom from error

    async def followed_by(self, chunks: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
        """All that was added, then `chunks`."""
        self._file.seek(0)
        left = self.size
        while left > 0:
            try:
                data = await asyncio.to_thread(self._file.read, min(left, limits.CHUNK_BYTES))
            except OSError as error:
                raise NoRoom from error
            if not data:
                raise NoRoom("The gateway lost what it had kept")
            left -= len(data)
            yield data
        async for chunk in chunks:
            yield chunk
