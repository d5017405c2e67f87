"""The block of an HTTP record -> its first line, its fields, and its body without the transfer coding.

Fields are taken as the bytes that they are, in Latin-1 (RFC 9110 section 5.5), which is how recordings have
them. A body that is said to be chunked and is not is taken as it is: some tools keep it that way.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from adapters import limits
from adapters.errors import BrokenOff
from adapters.recorded.exchange import Headers

_STATUS: Final = re.compile(r"HTTP/[0-9](?:\.[0-9])? +([1-9][0-9]{2})(?: .*)?")  # RFC 9112 section 4
_REQUEST: Final = re.compile(r"([!#$%&'*+.^_`|~0-9A-Za-z-]+) .*")  # section 3
_CHUNK: Final = re.compile(rb"([0-9A-Fa-f]{1,15})[ \t]*(?:;.*)?\r?\n")  # section 7.1


@dataclass(frozen=True, slots=True)
class Head:
    """What stands before a body."""

    first: str
    headers: Headers

    @property
    def status(self) -> int | None:
        """A response's; None where the first line is not one's."""
        match = _STATUS.fullmatch(self.first)
        return None if match is None else int(match[1])

    @property
    def method(self) -> str:
        """A request's in capitals; empty where the first line is not one's."""
        match = _REQUEST.fullmatch(self.first)
        return "" if match is None else match[1].upper()

    @property
    def transfer_codings(self) -> list[str]:
        """In the order in which they were put on, in lower case."""
        values = (value for name, value in self.headers if name.lower() == "transfer-encoding")
        codings = (each.strip().lower() for value in values for each in value.split(","))
        return [each for each in codings if each not in ("", "identity")]


def read_head(stream: Any) -> Head | None:
    """Up to its blank line, or to the end; None for nothing, and for more than limits.HEADER_BYTES."""
    room = limits.HEADER_BYTES
    lines: list[str] = []
    while line := stream.readline(room + 1):
        room -= len(line)
        if room < 0:
            return None
        text = line.decode("latin-1").rstrip("\r\n")
        if not text:
            break
        if text[0] in " \t" and len(lines) > 1:  # a folded line (RFC 9112 section 5.2)
            lines[-1] += " " + text.strip(" \t")
        else:
            lines.append(text)
    if not lines:
        return None
    pairs = (line.partition(":") for line in lines[1:])
    return Head(
        lines[0], tuple((name.strip(" \t"), value.strip(" \t")) for name, colon, value in pairs if colon)
    )


def body(chunks: Iterable[bytes], head: Head) -> Iterator[bytes]:
    """What the chunks of a block stand for. BrokenOff where the chunked coding is wrong or cut short."""
    return _dechunked(_Bytes(chunks)) if head.transfer_codings == ["chunked"] else iter(chunks)


class _Bytes:
    """Bytes that come in pieces, taken line by line or up to a size."""

    def __init__(self, chunks: Iterable[bytes]) -> None:
        self._chunks = iter(chunks)
        self._held = b""
        self._at = 0

    def line(self) -> bytes:
        """With its line feed, but where there is none before the end or limits.ARCHIVE_CHUNK_LINE."""
        while (end := self._held.find(b"\n", self._at)) < 0 and len(
            self._held
        ) - self._at < limits.ARCHIVE_CHUNK_LINE:
            if not self._more():
                break
        found = self._held[self._at : min(end + 1 or len(self._held), self._at + limits.ARCHIVE_CHUNK_LINE)]
        self._at += len(found)
        return found

    def piece(self, most: int) -> bytes:
        """At most so many bytes; empty at the end."""
        if self._at == len(self._held) and not self._more():
            return b""
        found = self._held[self._at : self._at + most]
        self._at += len(found)
        return found

    def _more(self) -> bool:
        chunk = next(self._chunks, b"")
        self._held, self._at = self._held[self._at :] + chunk, 0
        return bool(chunk)


def _dechunked(data: _Bytes) -> Iterator[bytes]:
    first = True
    while True:
        line = data.line()
        match = _CHUNK.fullmatch(line)
        if match is None and first:
            yield line
            while piece := data.piece(limits.CHUNK_BYTES):
                yield piece
            return
        if match is None:
            raise BrokenOff
        left = int(match[1], 16)
        if not left:
            return  # what may follow is trailer fields (section 7.1.2)
        while left:
            piece = data.piece(min(left, limits.CHUNK_BYTES))
            if not piece:
                raise BrokenOff
            left -= len(piece)
            yield piece
        if data.line() not in (b"\r\n", b"\n"):
            raise BrokenOff
        first = False
