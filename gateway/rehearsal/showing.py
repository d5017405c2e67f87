"""Run -> what its author reads: each difference, its columns marked."""

from collections.abc import Iterator, Sequence
from typing import Final

from gateway.rehearsal.comparing import Pair
from gateway.rehearsal.running import Run
from gateway.rehearsal.script.patterns import Literal, shown_bytes
from gateway.rehearsal.script.steps import Hear, Take
from gateway.rehearsal.script.writing import shown

_LONGEST: Final = 400  # characters of one line that are shown


def summary(run: Run) -> str:
    """One line: how it went."""
    name, heard = run.script.name, len([pair for pair in run.pairs if pair.expected is not None])
    if run.good:
        return f"{name}: as expected ({heard} expectations, {run.seconds:.1f} s)"
    count = len(run.differences)
    told = [f"{count} difference{'' if count == 1 else 's'}"] if count else []
    return f"{name}: {', '.join([*told, *([f'stopped at {run.broken}'] if run.broken else [])])}"


def differences(run: Run) -> Iterator[str]:
    """Each difference in lines of its own."""
    for pair in run.differences:
        yield "\n".join(_difference(run.script.name, pair))


def _difference(name: str, pair: Pair) -> Sequence[str]:
    title = f"{name}:{pair.line}: {pair.why or 'differs'}"
    if pair.expected is not None and isinstance(pair.expected.step, Hear | Take) and pair.came is not None:
        return [title, *_marked(pair.expected.step, pair.came)]
    expected = "nothing" if pair.expected is None else shown(pair.expected.step)
    came = "nothing" if pair.came is None else shown(pair.came)
    return [title, f"  expected  {_cut(expected)}", f"  came      {_cut(came)}"]


def _marked(expected: Hear | Take, came: object) -> Iterator[str]:
    assert isinstance(came, Hear | Take)
    data = b"".join(part.data for part in came.pattern.parts if isinstance(part, Literal))
    yield f"  expected  {_cut(_barred(expected))}"
    yield f"  came      {_cut(f'{type(came).__name__.lower()}|{shown_bytes(data)}|')}"
    indent = len(f"  came      {type(came).__name__.lower()}|")
    marks = [" "] * indent
    differing = set(expected.pattern.differing(data))
    for column, byte in enumerate(data):
        marks += ("^" if column in differing else " ") * len(shown_bytes(bytes([byte])))
    if len(data) in differing:
        marks.append("^")
    yield "".join(marks[: indent + _LONGEST]).rstrip()


def _barred(step: Hear | Take) -> str:
    """A statement with its bars, so that columns stand under columns."""
    text = shown(step)
    word = type(step).__name__.lower()
    return text if text.startswith(f"{word}|") else f"{word}|{text[len(word) + 1 :]}|"


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]} ... ({len(text)} characters)"
