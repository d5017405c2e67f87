"""Lines lost at every place: a client that counts ends with exactly the records of the source."""

import asyncio
from dataclasses import replace

import pytest

from tests.gateway.service.gate import (
    CHECKED,
    RESUMING,
    Line,
    checked,
    gate,
)


async def test_cut_at_every_byte_of_a_windowed_checked_reply() -> None:
    """A client that knows which records it has ends with exactly the source's, wherever its line was lost."""
    wanted = [b"%08d" % number for number in range(1, 11)]
    async with gate() as house:
        position, whole = 0, False
        while not whole:
            position += 1
            async with house.call() as line:
                line.writer.write(CHECKED)
                await line.lines(1)
                line.writer.write(b"\r")
                got, whole = await _records(line, checked(b"ASK ten"), 10, position)
                line.cut()
            if len(got) < 10:
                async with house.call() as line:
                    rest, _ = await _records(
                        line, checked(b"AGAIN %d" % (len(got) + 1)), 10 - len(got), 1 << 20
                    )
                    got += rest
            assert got == wanted, position
    assert position == 22 + 10 * 14  # the whole reply at last


async def _records(line: Line, request: bytes, count: int, most: int) -> tuple[list[bytes], bool]:
    """Read `most` bytes at most: the good records among them, and whether the reply came to its end."""
    line.writer.write(request)
    got: list[bytes] = []
    for number in range(count + 1):
        if number and number % 4 == 0:
            line.writer.write(b"\r")
        size = 16 + 6 if number == 0 else 8 + 6
        data = await asyncio.wait_for(line.reader.readexactly(min(size, most)), 5)
        most -= len(data)
        if len(data) < size:
            return got, False
        assert data[:-2].endswith(checked(data[:-6])[-5:-1])
        if number:
            got.append(data[:8])
        else:
            assert int(data[4:9]) == count
    return got, True


class Over(Exception):
    """So many bytes came as the line was good for."""


class Frail(Line):
    """A line that is lost when `budget` bytes have come over it; every line of every reply is checked."""

    budget = 0
    window = 4
    shown = 0  # lines since it was last told to go on

    async def checked_line(self, width: int) -> bytes:
        if self.shown == self.window:
            self.writer.write(b"\r")
            self.shown = 0
        data = await asyncio.wait_for(self.reader.readexactly(min(width + 6, self.budget)), 5)
        self.budget -= len(data)
        if len(data) < width + 6:
            self.cut()
            raise Over
        assert data[width:] == checked(data[:width])[-5:-1] + b"\r\n"
        self.shown += 1
        return data[:width]

    async def status(self, request: bytes) -> tuple[int, int, bool]:
        """Count, width without the check, and whether there is more."""
        self.writer.write(checked(request))
        self.shown = 0
        status = await self.checked_line(16)
        assert status[:3] == b"200", status
        return int(status[4:9]), max(0, int(status[10:13]) - 4), status[14:15] == b"+"


async def _page_shown(line: Frail) -> tuple[int, int]:
    """What WHY tells of the page that AGAIN shows."""
    count, width, _ = await line.status(b"WHY")
    told = [(await line.checked_line(width)).decode() for _ in range(count)]
    first, last = next(row for row in told if row.startswith("PAGE"))[9:].removeprefix("records ").split("-")
    return int(first), int(last)


@pytest.mark.parametrize("budget", [*range(310, 380), *range(380, 900, 13)])
async def test_pages_and_windows_over_lines_that_are_lost_again_and_again(budget: int) -> None:
    """MORE or its answer may have been lost: the client asks WHY which records the last page has."""
    wanted, got, first, last = [b"%08d" % number for number in range(1, 11)], list[bytes](), 0, 0
    async with gate(replace(RESUMING, profile="PAGED")) as house:
        more, lines = True, 0
        while more or len(got) < last:
            lines += 1
            assert lines < 40
            async with Frail(house.ports[0]) as line:
                line.budget = budget
                try:
                    if lines > 1:
                        _, _, more = await line.status(b"AGAIN")
                        first, last = await _page_shown(line)
                        assert first - 1 <= len(got) <= last
                    while True:
                        if lines == 1 and not last:
                            count, width, more = await line.status(b"ASK ten")
                            first, last = 1, count
                        elif len(got) == last:
                            if not more:
                                break
                            count, width, more = await line.status(b"MORE")
                            first, last = last + 1, last + count
                        else:
                            count, width, more = await line.status(b"AGAIN %d" % (len(got) - first + 2))
                            assert count == last - len(got)
                        for _ in range(count):
                            got.append(await line.checked_line(width))
                except Over:
                    more = True
        assert house.world.asked == ["TEN"]
    assert got == wanted
