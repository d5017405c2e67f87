"""Bytes on their way somewhere -> the same, and a copy of them: in memory while few, then in a file."""

import logging
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractContextManager
from pathlib import Path
from tempfile import NamedTemporaryFile
from types import TracebackType
from typing import IO

from adapters import limits
from adapters.recorded.exchange import Content

_log = logging.getLogger(__name__)


class Copied(AbstractContextManager["Copied"]):
    """What `chunks()` gives, each time that this is run through; the copy is of the last time.

    The copy is there as long as the context. `failed`: the disk took it no more, which the way of the bytes
    themselves has nothing to do with.
    """

    def __init__(self, chunks: Callable[[], AsyncIterator[bytes]]) -> None:
        self._chunks = chunks
        self._held = bytearray()
        self._file: IO[bytes] | None = None
        self.failed = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        self._forget()
        async for chunk in self._chunks():
            self._keep(chunk)
            yield chunk

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
        self.failed = False
        if self._file is not None:
            self._file.close()
            self._file = None
