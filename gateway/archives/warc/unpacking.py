"""A WARC file on disk -> its bytes, out of gzip where it is gzipped, record by record or as a whole.

A file that ends within its gzip ends there: what is whole before that can be used. One that is damaged in
the middle is told apart from it, by RFC 1952's check sums.
"""

from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from adapters import limits
from adapters.errors import BrokenOff
from adapters.http.answer.bodies import Expander

_GZIP: Final = b"\x1f\x8b"
_FIRST: Final = b"WARC/1."


class Unpacked:
    """Opened. `cut`: its gzip ends too early. `damaged`: it is wrong from where reading stopped. OSError."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb")
        packed = self._file.peek(len(_GZIP)).startswith(_GZIP)
        self._pieces = self._expanded() if packed else self._as_it_is()
        self._held = b""
        self._read = 0
        self._tail = b""
        self.cut = self.damaged = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()

    def tell(self) -> int:
        """How many bytes were read."""
        return self._read

    def read(self, size: int) -> bytes:
        """At most so many bytes; empty at the end, and from what is damaged on."""
        while not self._held:
            piece = next(self._pieces, None)
            if piece is None:
                return b""
            self._held = piece
        data, self._held = self._held[:size], self._held[size:]
        self._read += len(data)
        self._tail = (self._tail + data)[-len(_FIRST) - 1 :]
        return data

    @property
    def in_first_line(self) -> bool:
        """Whether what was read ends within the first line of a record."""
        return any(self._tail.endswith(b"\n" + _FIRST[:most]) for most in range(1, len(_FIRST) + 1))

    def _as_it_is(self) -> Iterator[bytes]:
        while data := self._file.read(limits.CHUNK_BYTES):
            yield data

    def _expanded(self) -> Iterator[bytes]:
        expander = Expander()
        try:
            for data in self._as_it_is():
                yield from expander.feed(data)
        except BrokenOff:
            self.damaged = True
            return
        try:
            yield expander.finish()
        except BrokenOff:
            self.cut = True
