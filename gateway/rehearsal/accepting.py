"""Run -> its script's text with the expectations that came true instead of those that did not.

What was as expected stays as it is written, wildcards too, and so does everything else: comments, blank
lines, what is sent.
"""

from collections import defaultdict

from gateway.rehearsal.running import Run
from gateway.rehearsal.script.writing import shown


def accepted(run: Run) -> str:
    """The new text, lines ended by LF."""
    instead: dict[int, str | None] = {}
    behind: dict[int, list[str]] = defaultdict(list)
    for pair in run.differences:
        came = None if pair.came is None else _indent(run, pair.line) + shown(pair.came)
        if pair.expected is not None:
            instead[pair.expected.line] = came
        else:
            assert came is not None  # it is there because it came
            behind[pair.line].append(came)
    lines: list[str] = []
    for number, line in enumerate(("", *run.script.lines)):
        kept = instead.get(number, line)
        if number and kept is not None:
            lines.append(kept)
        lines += behind[number]
    return "".join(f"{line}\n" for line in lines)


def _indent(run: Run, number: int) -> str:
    line = run.script.lines[number - 1] if number else ""
    return line[: len(line) - len(line.lstrip(" \t"))]
