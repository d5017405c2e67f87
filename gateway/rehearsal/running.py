"""Script, addresses -> Run: what a gateway said to it, beside what was expected."""

import asyncio
import os
import socket
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import takewhile
from typing import Final, TypeAlias

from gateway.rehearsal.comparing import Pair, exactly, paired
from gateway.rehearsal.line import Line, open_line
from gateway.rehearsal.script.steps import (
    FIRST_WITHIN,
    Close,
    Closed,
    Dial,
    Ends,
    Expectation,
    Finish,
    Hear,
    On,
    Placed,
    Put,
    Quiet,
    Reset,
    Say,
    Script,
    Skip,
    Step,
    Take,
    Wait,
    Within,
)

_AT_ONCE: Final = 0.5  # seconds between the lines of one reply, unless it is paced or in windows

Address: TypeAlias = tuple[str, int]
"""A host and a port."""


@dataclass(frozen=True, slots=True)
class Run:
    """A script, what came for each expectation in order, and how many seconds it took.

    `broken` says why it did not come to its end, in words, with the line of the script; empty where it did.
    `hung_up`: the gateway hung up before all had come that was expected.
    """

    script: Script
    pairs: tuple[Pair, ...]
    seconds: float
    broken: str = ""
    hung_up: bool = False

    @property
    def differences(self) -> list[Pair]:
        """What was not as expected."""
        return [pair for pair in self.pairs if not pair.fits]

    @property
    def good(self) -> bool:
        """Whether everything was as expected."""
        return not self.broken and all(pair.fits for pair in self.pairs)


class _Broken(Exception):
    """The script cannot go on: why."""


async def run_script(script: Script, addresses: Sequence[Address]) -> Run:
    """Run it; `addresses` are the gateway's listeners in order. It ends, whatever the gateway does."""
    begun = time.monotonic()
    stage = _Stage(addresses)
    broken = ""
    try:
        blocks = _blocks(script.steps)
        for place, block in enumerate(blocks):
            try:
                await stage.do(block, _skipped(blocks[place + 1 :]))
            except _Broken as why:
                broken = f"line {block[0].line}: {why}"
                break
        else:
            await stage.look_for_more()
    finally:
        stage.leave()
    return Run(script, tuple(stage.pairs), time.monotonic() - begun, broken, stage.hung_up)


def _blocks(steps: Sequence[Placed]) -> list[list[Placed]]:
    """Steps one by one, but lines that are to be heard in a row together, and so what is sent in a row."""
    blocks: list[list[Placed]] = []
    for placed in steps:
        before = blocks[-1][0].step if blocks else None
        if any(isinstance(placed.step, kind) and isinstance(before, kind) for kind in (Hear, Say | Put)):
            blocks[-1].append(placed)
        else:
            blocks.append([placed])
    return blocks


def _skipped(blocks: Sequence[list[Placed]]) -> int:
    """How many lines are skipped at the beginning of these blocks."""
    steps = (block[0].step for block in blocks)
    return sum(
        step.count for step in takewhile(lambda step: isinstance(step, Skip), steps) if isinstance(step, Skip)
    )


@dataclass(slots=True)
class _Stage:
    """The lines of one run, and what has come of it so far. `places`: where the script left each line."""

    addresses: Sequence[Address]
    lines: dict[str, Line] = field(default_factory=dict)
    places: dict[str, int] = field(default_factory=dict)
    name: str = ""
    ends: Ends = field(default_factory=Ends)
    within: float = FIRST_WITHIN
    pairs: list[Pair] = field(default_factory=list)
    hung_up: bool = False

    @property
    def deadline(self) -> float:
        return asyncio.get_running_loop().time() + self.within

    @property
    def _soon(self) -> float:
        return asyncio.get_running_loop().time() + min(self.within, _AT_ONCE)

    async def do(self, block: list[Placed], skipped: int) -> None:
        """One step, or lines to be heard, or what is sent at once; `skipped` lines are to be skipped then."""
        step = block[0].step
        self.places.setdefault(self.name, block[0].line - 1)
        match step:
            case Dial(name, listener):
                await self._dial(name, listener)
            case On(name):
                self.name = name
            case Ends():
                self.ends = step
            case Within(seconds):
                self.within = seconds
            case Wait(seconds):
                await asyncio.sleep(seconds)
            case Say() | Put():
                await self._send(b"".join(self._bytes(placed.step) for placed in block))
            case Finish():
                (await self._line()).finish()
            case Close():
                line = await self._line()
                await self._look(self.name, line, self._soon)
                line.close()
            case Reset():
                line = await self._line()
                line.reset()
                line.take(len(line.pending))  # how much had come by then is chance
            case Hear():
                await self._hear(block, skipped)
            case Take() | Skip() | Quiet() | Closed():  # pragma: no branch — mypy knows that these are all
                self.pairs.append(await self._expect(await self._line(), block[0], step))
        self.places[self.name] = block[-1].line

    async def _dial(self, name: str, listener: int) -> Line:
        if listener > len(self.addresses):
            raise _Broken(f"there is no listener {listener}")
        try:
            line = await open_line(*self.addresses[listener - 1], self.within)
        except TimeoutError as error:
            raise _Broken("the gateway does not answer the call") from error
        except UnicodeError as error:
            raise _Broken("the gateway cannot be reached: no name of a host") from error
        except OSError as error:
            number = None if isinstance(error, socket.gaierror) else error.errno  # a look-up's are its own
            why = error.strerror or str(error) if number is None else os.strerror(number)
            raise _Broken(f"the gateway cannot be reached: {why}") from error
        self.lines[name], self.name = line, name
        return line

    async def _line(self) -> Line:
        line = self.lines.get(self.name)
        return await self._dial(self.name, 1) if line is None else line

    def _bytes(self, step: Step) -> bytes:
        if isinstance(step, Say):
            return step.text + self.ends.said
        return step.data if isinstance(step, Put) else b""

    async def _send(self, data: bytes) -> None:
        if not await (await self._line()).send(data):
            raise _Broken("the line is gone")

    async def _hear(self, block: list[Placed], skipped: int) -> None:
        """Lines as many as expected. Where they are not as expected, the rest of the last reply belongs to
        them too, as far as it comes at once and is not skipped then. After a line that did not come, no other
        is waited for.
        """
        line, lines = await self._line(), list[bytes]()
        while len(lines) < len(block):
            heard = await line.line(self.ends.heard, self.deadline)
            if heard is None:
                break
            lines.append(heard)
        missing = "" if len(lines) == len(block) else self._missing(line)
        pairs = paired(block, lines, missing)
        if not all(pair.fits for pair in pairs) and line.owed > skipped:
            while line.owed > skipped and (heard := await line.line(self.ends.heard, self._soon)) is not None:
                lines.append(heard)
            pairs = paired(block, lines, missing)
        self.pairs += pairs
        if missing and line.pending:
            rest = line.take(len(line.pending))
            self.pairs.append(Pair(block[-1].line, None, Take(exactly(rest)), False, "no line end came"))

    async def _expect(self, line: Line, placed: Placed, step: Expectation) -> Pair:
        match step:
            case Take():
                return await self._take(line, placed, step)
            case Skip(count):
                for number in range(count):
                    if await line.line(self.ends.heard, self.deadline) is None:
                        came = Skip(number) if number else None
                        return Pair(placed.line, placed, came, False, f"{number} came; {self._missing(line)}")
                return Pair(placed.line, placed, step, True)
            case Quiet(seconds):
                deadline = asyncio.get_running_loop().time() + seconds
                while not line.pending and await line.news(deadline):
                    pass
                return _unless_more(line, placed)
            case _:
                deadline = self.deadline
                while not line.hung_up and await line.news(deadline):
                    pass
                if line.pending or line.hung_up:
                    return _unless_more(line, placed)
                return Pair(placed.line, placed, None, False, "it did not hang up")

    async def _take(self, line: Line, placed: Placed, step: Take) -> Pair:
        deadline = self.deadline
        while (end := step.pattern.first_end(bytes(line.pending))) is None:
            width = step.pattern.width
            if width is not None and len(line.pending) >= width:
                return Pair(placed.line, placed, Take(exactly(line.take(width))), False)
            if not await line.news(deadline):
                rest = line.take(len(line.pending))
                came = Take(exactly(rest)) if rest else None
                return Pair(placed.line, placed, came, False, self._missing(line))
        line.owed = 0  # nobody knows which of its lines these were
        return Pair(placed.line, placed, Take(exactly(line.take(end))), True)

    async def look_for_more(self) -> None:
        """What came on any line and nothing expected; the rest of a last reply too, if it comes at once."""
        soon = self._soon
        for name, line in self.lines.items():
            await self._look(name, line, soon)

    async def _look(self, name: str, line: Line, deadline: float) -> None:
        while line.owed > line.pending.count(self.ends.heard) and await line.news(deadline):
            pass
        if line.pending:
            came = Take(exactly(line.take(len(line.pending))))
            why = "came after all that was expected"
            self.pairs.append(Pair(self.places[name], None, came, False, why))

    def _missing(self, line: Line) -> str:
        """Why what was expected did not come."""
        self.hung_up |= line.hung_up
        return "the gateway hung up" if line.hung_up else "nothing more came in time"

    def leave(self) -> None:
        """Hang up everywhere."""
        for line in self.lines.values():
            line.close()


def _unless_more(line: Line, placed: Placed) -> Pair:
    if not line.pending:
        return Pair(placed.line, placed, placed.step, True)
    came = Take(exactly(line.take(len(line.pending))))
    return Pair(placed.line, placed, came, False, "bytes came")
