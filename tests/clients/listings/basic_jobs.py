"""Jobs -> what generated BASIC programs printed, all run side by side.

An interpreter mostly waits: PC-BASIC takes about 155 bytes a second from its COM device and uses little of a
processor meanwhile. So the first test that asks for an outcome starts every job, and each waits for its own.
"""

import io
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from gateway.commands.main import main
from tests.clients.listings.basics import BASICS, Basic
from tests.clients.listings.damaging import Damage, damaging

_AT_ONCE = 16  # interpreters


@dataclass(frozen=True, slots=True)
class Job:
    """One listing, and what the line does to it. `{who}` among the args is the interpreter's own word."""

    source: str
    args: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    down: tuple[bytes, ...] = ()
    up: tuple[bytes, ...] = ()
    in_turn: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """The program, what it printed, and what happened on the line."""

    text: str
    printed: list[str]
    damage: Damage

    @property
    def asked(self) -> list[bytes]:
        """The requests, their checks left out, with one blank between two words."""
        return [b" ".join(each.partition(b" *")[0].split()) for each in self.damage.requests]


def who(basic: Basic) -> str:
    """A word of eight letters at most that no other interpreter has."""
    return basic.name.upper().replace("_", "")[:8]


def listing(folder: Path, *words: str) -> str:
    """What `headrace listing` prints for the catalogue in that folder."""
    with redirect_stdout(io.StringIO()) as printed:
        assert main(["listing", *words, "--config", str(folder / "headrace.toml")]) == 0
    return printed.getvalue()


class Runs:
    """The outcomes of all jobs against one gateway."""

    def __init__(
        self, port: int, catalogue: Path, folders: pytest.TempPathFactory, jobs: Mapping[str, Job]
    ) -> None:
        self._port, self._catalogue, self._folders, self._jobs = port, catalogue, folders, jobs
        self._pool = ThreadPoolExecutor(_AT_ONCE)
        self._begun: dict[tuple[Basic, str], Future[Outcome]] = {}

    def of(self, basic: Basic, job: str) -> Outcome:
        """The outcome of one; its exception, if it came to one."""
        if not self._begun:
            for each in BASICS:
                if not each.missing:
                    self._begin(each)
        return self._begun[basic, job].result()

    def close(self) -> None:
        """Wait for those that run; drop those that do not."""
        self._pool.shutdown(cancel_futures=True)

    def _begin(self, basic: Basic) -> None:
        for name, job in self._jobs.items():
            args = [each.format(who=who(basic)) for each in job.args]
            text = listing(self._catalogue, job.source, *args, "--for", basic.trait, *job.words)
            folder = self._folders.mktemp("client")
            self._begun[basic, name] = self._pool.submit(self._run, basic, text, job, folder)

    def _run(self, basic: Basic, text: str, job: Job, folder: Path) -> Outcome:
        with damaging(self._port, job.down, job.up, in_turn=job.in_turn) as damage:
            return Outcome(text, basic.run(text, damage.port, folder), damage)


def rows_shown(printed: Sequence[str], widths: Mapping[str, int]) -> tuple[list[dict[str, str]], list[str]]:
    """The records that a program printed, by field, and what else it said.

    A field stands after its name and a blank, two blanks after the one before; one too wide for that stands
    under its name in lines of 40.
    """
    records, said = list[dict[str, str]](), list[str]()
    names, lines = list(widths), iter(printed)
    values: dict[str, str] = {}
    for line in lines:
        rest = f"{line:40}"
        assert len(rest) == 40, line
        name = names[len(values)]
        if not rest.startswith(f"{name} "):
            said += [line.strip()] if line.strip() else []
            continue
        while rest.startswith(f"{name} "):
            rest, width = rest[len(name) + 1 :], widths[name]
            if not rest.strip() and width >= 40 - len(name):  # on lines of their own
                rest = "".join(f"{next(lines):40}" for _ in range(0, width, 40))
            values[name], rest = rest[:width], rest[width:]
            name = names[len(values) % len(names)]
            rest = rest.removeprefix("  ") if len(values) < len(names) else ""
        if len(values) == len(names):
            records.append(values)
            values = {}
    assert not values
    return records, said
