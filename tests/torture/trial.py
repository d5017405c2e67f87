"""A chapter and a point -> what came of it: the chapter is gone through while that point fails, then judged.

The judgement is the contract's: one well-formed reply a request, or the connection closed; a change that is
not told as done, begun or doubtful was not made; an answer that is told as good is the right one; nothing is
left behind; and once nothing fails any more, a new client gets from the same gateway what it always gets.
"""

import json
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from tests.torture.chapters import AT_MACHINE, CHAPTERS, RAW, Step, all_closed
from tests.torture.ground import Ground
from tests.torture.inside.points import Point
from tests.torture.talk import CLOSED, CutShort, Malformed, Reply, SerialTalk, Talk

_ROOT: Final = Path(__file__).parents[2]
_DONE: Final = frozenset({"250"})
_OPEN: Final = frozenset({"150", "558", ""})
"""After which a change may have been made, or not."""
_REMOVES: Final = re.compile(r"os\.(unlink|remove|rmdir)$")
"""What does not go away where this fails."""
_SENDS: Final = re.compile(r"service/clients/(sending|metering|pacing|turns|connection)\.py|client send")
"""Where a reply goes out: it cannot be whole where this fails in the middle of it."""


class Host:
    """The other process. Orders are those of `host.Host`."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.torture.inside.host"],
            cwd=_ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __call__(self, name: str, *arguments: Any) -> Any:
        """Give an order. AssertionError: what went wrong with it."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps([name, *arguments]) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        assert line, "the gateway's process has ended"
        told = json.loads(line)
        assert "error" not in told, told["error"]
        return told["answer"]

    def close(self) -> None:
        """It ends."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait(30)


@contextmanager
def host() -> Iterator[Host]:
    """Until the end of the context."""
    made = Host()
    try:
        yield made
    finally:
        made.close()


@dataclass(frozen=True, slots=True)
class Usual:
    """A chapter without faults: its replies the first time and the second, what it leaves, and its points."""

    first: Sequence[Sequence[Reply]]
    second: Sequence[Sequence[Reply]]
    documents: Sequence[Mapping[str, bytes | None]]
    left: Mapping[str, int]
    points: Mapping[tuple[str, str], int]


@dataclass(slots=True)
class Outcome:
    """`wrong` is empty where all was as it is to be. `struck`: how often the point failed."""

    struck: int = 0
    codes: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


class Trials:
    """Trials of one gateway's process at one ground."""

    def __init__(self, ground: Ground, host: Host) -> None:
        self._ground, self._host = ground, host
        self._usual: dict[str, Usual] = {}

    def usual(self, chapter: str) -> Usual:
        """Without faults. AssertionError where that does not go well, or not the same way twice."""
        if chapter not in self._usual:
            first = self._one(chapter)  # also makes what is made once in a process
            made = self._one(chapter)
            assert (made.first, made.second) == (first.first, first.second), (chapter, first, made)
            left = {what: max(n, first.left.get(what, 0)) for what, n in {**first.left, **made.left}.items()}
            points = {key: max(n, first.points.get(key, 0)) for key, n in made.points.items()}
            self._usual[chapter] = Usual(made.first, made.second, made.documents, left, points)
        return self._usual[chapter]

    def _one(self, chapter: str) -> Usual:
        port = self._start(chapter)
        self._host("disarm")
        first: list[list[Reply]] = []
        documents = [self._ground.documents()]
        for step, replies in self._session(port, chapter):
            assert not all_closed(replies) or step.name == "BYE", (step.name, replies)
            first.append(_plain(step, replies))
            documents.append(self._ground.documents())
        points = {(site, step): count for site, step, count in self._host("points")}
        self._ground.renew_places()
        second = [_plain(step, replies) for step, replies in self._session(port, chapter)]
        self._leave(chapter)
        left = self._host("left", None)
        after = self._host("stop")
        assert not after, (chapter, after)
        return Usual(first, second, documents, left, points)

    def _start(self, chapter: str) -> int:
        self._ground.renew()
        config = self._ground.at_machine if chapter in AT_MACHINE else self._ground.config
        port: int = self._host("start", str(config))
        return port

    def trial(self, chapter: str, point: Point, error: str, *, for_good: bool) -> Outcome:
        """One."""
        usual, outcome = self.usual(chapter), Outcome()
        port = self._start(chapter)
        self._host("arm", point.site, point.step, point.nth, error, for_good)
        try:
            self._tortured(port, chapter, usual, outcome)
        except CutShort as fault:
            outcome.codes["cut short"] += 1
            if not _SENDS.search(point.site):
                outcome.wrong.append(f"malformed: {fault}")
        except Malformed as fault:
            outcome.wrong.append(f"malformed: {fault}")
        outcome.struck = self._host("disarm")
        self._look(chapter, point, usual, outcome)
        self._ground.renew_places()
        self._fresh(port, chapter, usual, outcome)
        self._look(chapter, point, usual, outcome)
        outcome.complaints = self._host("complaints")
        after = self._host("stop")
        if after:
            outcome.wrong.append(f"left behind after the end: {after}")
        return outcome

    def break_it(self, module: str, name: str) -> None:
        """As `host.Host` does; for good."""
        self._host("break_it", module, name)

    def _look(self, chapter: str, point: Point, usual: Usual, outcome: Outcome) -> None:
        try:
            self._leave(chapter)
        except Malformed as fault:
            outcome.wrong.append(f"left behind: {fault}")
        left = self._host("left", usual.left)
        if _REMOVES.search(point.site):
            left = {what: count for what, count in left.items() if not what.startswith("file ")}
        if left:
            outcome.wrong.append(f"left behind: {left}")

    def _leave(self, chapter: str) -> None:
        """A machine's line, on which nobody hangs up."""
        if chapter in AT_MACHINE:
            self._at_machine().leave()

    def _at_machine(self) -> SerialTalk:
        return SerialTalk(self._ground.machine, lambda: int(self._host("sitting")), self._ground.hear)

    def _session(self, port: int, chapter: str) -> Iterator[tuple[Step, list[Reply]]]:
        steps = CHAPTERS[chapter]
        self._host("step", _label(chapter, 0, steps[0]))
        talk = self._at_machine() if chapter in AT_MACHINE else Talk(port, self._ground.hear)
        try:
            for number, step in enumerate(steps):
                self._host("step", _label(chapter, number, step))
                replies = step.does(talk)
                yield step, replies
                if all_closed(replies):
                    return
            if talk.reply() != CLOSED:
                raise Malformed("a reply behind that to BYE")
        finally:
            talk.close()

    def _tortured(self, port: int, chapter: str, usual: Usual, outcome: Outcome) -> None:
        """While it fails. Behind a change that has failed nothing is as usual any more."""
        as_usual = settled = True
        before = self._ground.documents()
        for number, (step, replies) in enumerate(self._session(port, chapter)):
            outcome.codes.update(each.code or "closed" for each in replies)
            after, told = self._ground.documents(), f"{step.name}: {_told(replies)}"
            last = replies[-1].code
            wanted, goal = usual.first[number], usual.documents[number + 1]
            if as_usual and last[:1] == "2" and not _right(step, replies, wanted):
                outcome.wrong.append(f"{told} instead of {_told(wanted)}")
            settled = settled and last not in _OPEN
            if settled and last not in _DONE and after != before:
                outcome.wrong.append(f"{told}, and changed {_differing(before, after)}")
            if last in _DONE and step.changes and as_usual and after != goal:
                outcome.wrong.append(f"{told}, and {_differing(goal, after)}")
            as_usual = as_usual and [each.code for each in replies] == [each.code for each in wanted]
            before = after

    def _fresh(self, port: int, chapter: str, usual: Usual, outcome: Outcome) -> None:
        """Once nothing fails any more."""
        try:
            session = self._session(port, chapter)
            for (step, replies), first, second in zip(session, usual.first, usual.second, strict=True):
                if _plain(step, replies) not in (first, second):
                    outcome.wrong.append(
                        f"afterwards {step.name}: {_told(replies)} instead of {_told(second)}"
                    )
        except (Malformed, ValueError, OSError) as fault:
            outcome.wrong.append(f"afterwards: {fault}")


def _label(chapter: str, number: int, step: Step) -> str:
    return f"{chapter}/{number} {step.name}"


def _plain(step: Step, replies: Sequence[Reply]) -> list[Reply]:
    """Without what is not the same each time."""
    return [Reply(each.code) for each in replies] if step.varies else list(replies)


def _right(step: Step, replies: Sequence[Reply], wanted: Sequence[Reply]) -> bool:
    """Whether what is told as good is so: the usual, or of a stream as much as came before it broke."""
    if not step.breaks:
        return _plain(step, replies) == wanted
    through = ["".join(each.records) for each in replies if each.code == RAW]
    whole = ["".join(each.records) for each in wanted if each.code == RAW]
    return replies[-1].code == "226" and all(w.startswith(t) for t, w in zip(through, whole, strict=True))


def _told(replies: Sequence[Reply]) -> str:
    return "; ".join(map(str, replies))


def _differing(one: Mapping[str, bytes | None], other: Mapping[str, bytes | None]) -> str:
    """Names, and what is there; None is a folder, 0 nothing."""
    names = sorted(name for name in {*one, *other} if one.get(name, b"-") != other.get(name, b"-"))
    return ", ".join(f"{name} {one.get(name, 0)!r} -> {other.get(name, 0)!r}" for name in names)
