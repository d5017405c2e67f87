"""a source's name -> its records, over a line that turns bits over: a client as its careful author writes it.

What a small machine would do, and no more: it reads bytes up to a CR, checks the status line and each record
by its CRC, counts, and asks again, by number, from the first record that is missing or wrong, after it has
waited for the line to be quiet.
"""

import asyncio
from dataclasses import dataclass

_CHECK = 4
_STATUS = 16
_LONGEST = 255 + 4  # characters, before what comes cannot be a line


def crc(data: bytes) -> int:
    """CRC-16/XMODEM bit by bit: polynomial 1021h, from 0 (the catalogue of parametrised CRC algorithms)."""
    value = 0
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value


class Quiet(Exception):
    """Nothing came for long enough."""


class Wrong(Exception):
    """What came is not what must come now."""


@dataclass(slots=True)
class Counts:
    """What a client went through."""

    rejected: int = 0  # lines with a wrong check or length
    quiet: int = 0  # times that nothing came
    again: int = 0  # AGAIN sent
    refused: int = 0  # replies other than 200: mostly 500 to a request that noise has hit
    misplaced: int = 0  # good lines where others were due


class Careful:
    """One client. `window` as it is set; after `quiet` seconds without a byte nothing more will come."""

    def __init__(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, window: int, quiet: float
    ) -> None:
        self._reader, self._writer = reader, writer
        self._window, self._quiet = window, quiet
        self._coming = b""
        self._lines = 0  # of the window in hand
        self.counts = Counts()

    async def fetch(self, source: bytes) -> list[bytes]:
        """All records of the source, without their checks."""
        await self._begin()
        total = await self._ask(b"ASK " + source, None)
        while total is None:  # AGAIN might show the page of an earlier request: the same once more is safe
            total = await self._ask(b"ASK " + source, None)
        records: list[bytes] = []
        going = True
        while len(records) < total:
            wanted = total - len(records)
            if not going:
                self.counts.again += 1
                if await self._ask(b"AGAIN %d" % (len(records) + 1), wanted) is None:
                    continue
            try:
                going = True
                while len(records) < total:
                    records.append(await self._record())
            except (Wrong, Quiet):
                going = False
        return records

    async def _begin(self) -> None:
        """From its first good checked request on, the gateway takes no other."""
        while True:
            try:
                if await self._ask(b"NOOP READY", 1) and (await self._record()).rstrip() == b"READY":
                    return
            except (Wrong, Quiet):
                pass

    async def _ask(self, request: bytes, count: int | None) -> int | None:
        """Send a request; how many records its reply has, None where that is not what it should be."""
        await self._silence()
        await self._send(request + b" *%04X\r" % crc(request))
        try:
            status = await self._line(_STATUS)
            if status[:4] != b"200 ":
                self.counts.refused += 1
                return None
            found, width = int(status[4:9]), int(status[10:13])
            if count is not None and found != count:
                self.counts.misplaced += 1
                return None
        except (Wrong, Quiet):
            return None
        except ValueError:  # a record, where a status line was due
            self.counts.misplaced += 1
            return None
        self._width, self._lines = width - _CHECK, 1
        return found

    async def _record(self) -> bytes:
        """The next record; where the window is through, it has to be asked for."""
        if self._lines == self._window:
            await self._send(b"\r")
            self._lines = 0
        record = await self._line(self._width)
        self._lines += 1
        return record

    async def _line(self, width: int) -> bytes:
        """The next line, if it is as wide as it must be and its check fits."""
        line = await self._until_cr()
        text, check = line[:-_CHECK], line[-_CHECK:]
        if check != b"%04X" % crc(text):
            self.counts.rejected += 1
            raise Wrong
        if len(text) != width:
            self.counts.misplaced += 1
            raise Wrong
        return text

    async def _until_cr(self) -> bytes:
        while b"\r" not in self._coming and len(self._coming) <= _LONGEST:
            try:
                more = await asyncio.wait_for(self._reader.read(4_096), self._quiet)
            except TimeoutError as error:
                self.counts.quiet += 1
                raise Quiet from error
            assert more, "the gateway has closed the line"
            self._coming += more
        line, _, self._coming = self._coming.partition(b"\r")
        return line.removeprefix(b"\n")

    async def _silence(self) -> None:
        """Throw away what comes until nothing does."""
        self._coming = b""
        while True:
            try:
                assert await asyncio.wait_for(self._reader.read(4_096), self._quiet)
            except TimeoutError:
                return

    async def _send(self, data: bytes) -> None:
        self._writer.write(data)
        await self._writer.drain()
