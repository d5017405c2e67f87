"""Far ends that talk, as an invented harbour's notice board does, and keep what they got."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager

from tests.gateway.service.streams.far_ends import far_end

PRINTABLE = "".join(map(chr, range(0x20, 0x7F)))


class Board:
    """Asks for a name, says every line back, and hangs up after BYE. Its own lines end in `ends`; those
    that it reads end in `reads` and in nothing else. `got` are the bytes of each call, whole.
    """

    def __init__(self, ends: bytes, reads: bytes) -> None:
        self.got: list[bytearray] = []
        self._ends, self._reads = ends, reads

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One call."""
        got = bytearray()
        self.got.append(got)

        async def line() -> bytes:
            start = len(got)
            while not got.endswith(self._reads, start):
                byte = await reader.read(1)
                if not byte:
                    return b"BYE"
                got.extend(byte)
            return bytes(got[start : -len(self._reads)])

        writer.write(self._text("HARBOUR BOARD", "", "NAME? "))
        name = await line()
        writer.write(self._text(f"GOOD DAY, {name.decode()}", "> "))
        while (said := await line()) != b"BYE":
            writer.write(self._text(f"YOU SAID {said.decode()}", "> "))
        writer.write(self._text("", "FAIR WINDS"))  # the last line has no end
        await writer.drain()

    def _text(self, *lines: str) -> bytes:
        return self._ends.join(line.encode("ascii") for line in lines)


@contextmanager
def board(ends: bytes = b"\r\n", reads: bytes = b"\r\n") -> Iterator[tuple[Board, int]]:
    """One that is there, and its port on loopback."""
    made = Board(ends, reads)
    with far_end(made.serve) as port:
        yield made, port
