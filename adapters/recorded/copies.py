"""Bytes on their way somewhere -> the same, and a copy of them: in memory while few, then in a file."""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractContextManager, suppress
from pathlib import Path
from tempfile import NamedTemporaryFile
from types import TracebackType
from typing import IO

from adapters import limits
from adapters.errors import HeadraceError
from adapters.recorded.exchange import Content

_log = logging.getLogger(__name__)


class Copied(AbstractContextManager["Copied"]):
    """What `chunks()` gives, each time that this is run through; the copy is of the last time.

    The copy is there as long as the context. `failed`: the disk took it no more, which the way of the bytes
    themselves has nothing to do with. `again` gives the same bytes once more, where that is possible.
    """

    def __init__(
        self,
        chunks: Callable[[], AsyncIterator[bytes]],
        again: Callable[[], AsyncIterator[bytes]] | None = None,
    ) -> None:
        self._chunks = chunks
        self._again = again
        self._whole = False
        self._held = bytearray()
        self._file: IO[bytes] | None = None
        self.failed = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        self._forget()
        async for chunk in self._chunks():
            self._keep(chunk)
            yield chunk
        self._whole = True

    async def complete(self) -> None:
        """Copy what was not sent, as where a far server refused it at once: asked for was the whole. Where
        that cannot be had in time, the copy is of a part.
        """
        if self._whole or self._again is None:
            return
        self._chunks = self._again
        with suppress(HeadraceError, OSError, TimeoutError):
            async with asyncio.timeout(limits.RECORDED_REST_SECONDS):
                async for _ in self:
                    pass

    def content(self) -> Content:
        """The copy."""
        return Content(bytes(self._held)) if self._file is None else Content(path=Path(self._file.name))

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._forget()

    def _keep(self, chunk: bytes) -> None:
        if self.failed:
            return
        if self._file is None and len(self._held) + len(chunk) <= limits.STAGE_BYTES:
            self._held += chunk
            return
        try:
            if self._file is None:
                self._file = NamedTemporaryFile(prefix="headrace-", buffering=0)  # noqa: SIM115 - see _forget
                self._file.write(self._held)
            self._file.write(chunk)
        except OSError as error:
            _log.error("no copy of what is sent: %s", error.strerror or error)
            self.failed = True

    def _forget(self) -> None:
        self._held.clear()
        self.failed = self._whole = False
        if self._file is not None:
            self._file.close()
            self._file = None
