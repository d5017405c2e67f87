"""A script's text -> Script, or everything that is wrong in it, by line."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.rehearsal.script.patterns import Literal, Pattern, PatternFault, read_pattern
from gateway.rehearsal.script.steps import (
    Close,
    Closed,
    Dial,
    Ends,
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

_NAME: Final = re.compile(r"[A-Za-z0-9_.-]{1,40}")
_LINE_END: Final = re.compile(r"\r\n|\r|\n")  # a form feed or the like ends no line
_SECONDS: Final = re.compile(r"[0-9]{1,6}(?:\.[0-9]{1,3})?")
_LINE_ENDS: Final = {"cr": b"\r", "lf": b"\n", "crlf": b"\r\n"}


@dataclass(frozen=True, slots=True)
class Mistake:
    """`why` a line, counted from 1, is no statement; `column` counts from 1, 0 for the whole line."""

    line: int
    column: int
    why: str


class ScriptFault(ValueError):
    """A script that cannot be run: all its mistakes, in order."""

    def __init__(self, name: str, mistakes: list[Mistake]) -> None:
        super().__init__("\n".join(f"{name}:{each.line}:{each.column or 1}: {each.why}" for each in mistakes))
        self.mistakes = mistakes


class _Wrong(ValueError):
    def __init__(self, why: str, position: int = 0) -> None:
        super().__init__(why)
        self.position = position


def read_script(text: str, name: str) -> Script:
    """The script that `text` holds; ScriptFault where it is none."""
    lines = tuple(_LINE_END.split(text.removeprefix("\ufeff")))
    lines = lines if lines[-1] else lines[:-1]
    steps: list[Placed] = []
    mistakes: list[Mistake] = []
    names = set[str]()
    for number, line in enumerate(lines, 1):
        bare = line.lstrip(" \t")
        if not bare.rstrip() or bare.startswith("#"):
            continue
        indent = len(line) - len(bare)
        try:
            step = _statement(bare)
            _check_name(step, names, first=not steps)
        except _Wrong as wrong:
            mistakes.append(Mistake(number, indent + wrong.position + 1, str(wrong)))
        else:
            steps.append(Placed(number, step))
    if mistakes:
        raise ScriptFault(name, mistakes)
    return Script(name, lines, tuple(steps))


def _check_name(step: Step, names: set[str], *, first: bool) -> None:
    """Lines are opened before they are gone on with, and once."""
    if isinstance(step, Dial):
        if step.name in names:
            raise _Wrong(
                "a line of that name was opened before" if step.name else "lines need names to be told apart"
            )
        names.add(step.name)
    elif isinstance(step, On):
        if step.name not in names:
            raise _Wrong(f"no line {step.name} was opened")
    elif not isinstance(step, Ends | Within | Wait):
        names.add("")


def _statement(line: str) -> Step:
    match = re.match(r"[a-z]+", line)
    word = match[0] if match is not None else ""
    rest = line[len(word) :]
    if word in _TEXTS:
        text, start = _text(rest)
        try:
            return _TEXTS[word](text)
        except PatternFault as fault:
            raise _Wrong(str(fault), len(word) + start + fault.position) from fault
        except _Wrong as wrong:
            raise _Wrong(str(wrong), len(word) + start) from wrong
    if word not in _WORDS or (rest and rest[0] not in " \t"):
        raise _Wrong(f"no statement; statements are {', '.join(sorted([*_TEXTS, *_WORDS]))}")
    return _WORDS[word](rest.split())


def _text(rest: str) -> tuple[str, int]:
    """What stands after a word, and where: after one blank without blanks at the end, or between bars."""
    if rest.startswith("|"):
        end = rest.rstrip(" \t")
        if len(end) < 2 or not end.endswith("|"):
            raise _Wrong("no bar at the end")
        return end[1:-1], 1
    if rest and not rest.startswith(" "):
        raise _Wrong("a blank or a bar comes after the word")
    return rest[1:].rstrip(" \t"), 1


def _pattern(text: str) -> Pattern:
    odd = re.search(r"[^\x20-\x7e]", text)
    if odd is not None:
        raise PatternFault("only printable ASCII; \\xHH stands for any other byte", odd.start())
    return read_pattern(text)


def _bytes(text: str) -> bytes:
    pattern = _pattern(text)
    if not pattern.literal:
        raise _Wrong("only bytes can be sent: no {any} or the like")
    return b"".join(part.data for part in pattern.parts if isinstance(part, Literal))


def _put(text: str) -> Step:
    data = _bytes(text)
    if not data:
        raise _Wrong("nothing to send")
    return Put(data)


def _take(text: str) -> Step:
    pattern = _pattern(text)
    if pattern.matches(b""):
        raise _Wrong("it takes no bytes at all: nothing would be waited for")
    return Take(pattern)


def _dial(words: list[str]) -> Step:
    listener = 1
    if len(words) >= 2 and words[-2] == "listener":
        listener = _whole(words[-1], "a listener's number")
        words = words[:-2]
    if len(words) > 1:
        raise _Wrong("dial takes a name, and listener N")
    return Dial(_name(words[0]) if words else "", listener)


def _on(words: list[str]) -> Step:
    if len(words) != 1:
        raise _Wrong("on takes a line's name")
    return On(_name(words[0]))


def _name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise _Wrong(f"{text!r} is no name: letters, digits, _ . and -, 40 at most")
    return text


def _skip(words: list[str]) -> Step:
    if len(words) != 1:
        raise _Wrong("skip takes a number of lines")
    return Skip(_whole(words[0], "a number of lines"))


def _whole(text: str, what: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text[:6]) > 0 and len(text) <= 5):
        raise _Wrong(f"{text!r} is not {what}")
    return int(text)


def _seconds(words: list[str]) -> float:
    if len(words) != 1 or not _SECONDS.fullmatch(words[0]):
        raise _Wrong("a number of seconds belongs here, such as 2 or 0.5")
    seconds = float(words[0])
    if seconds > limits.REHEARSAL_SECONDS:
        raise _Wrong(f"at most {limits.REHEARSAL_SECONDS} seconds")
    return seconds


def _ends(words: list[str]) -> Step:
    if len(words) not in (1, 2) or any(word not in _LINE_ENDS for word in words):
        raise _Wrong("ends takes cr, lf or crlf, for what is said and for what is heard")
    return Ends(_LINE_ENDS[words[0]], _LINE_ENDS[words[-1]])


def _alone(step: Step) -> Callable[[list[str]], Step]:
    def read(words: list[str]) -> Step:
        if words:
            raise _Wrong("nothing belongs behind this word")
        return step

    return read


_TEXTS: Final[dict[str, Callable[[str], Step]]] = {
    "say": lambda text: Say(_bytes(text)),
    "put": _put,
    "hear": lambda text: Hear(_pattern(text)),
    "take": _take,
}
_WORDS: Final[dict[str, Callable[[list[str]], Step]]] = {
    "dial": _dial,
    "on": _on,
    "skip": _skip,
    "wait": lambda words: Wait(_seconds(words)),
    "quiet": lambda words: Quiet(_seconds(words)),
    "within": lambda words: Within(_seconds(words)),
    "finish": _alone(Finish()),
    "close": _alone(Close()),
    "reset": _alone(Reset()),
    "closed": _alone(Closed()),
    "ends": _ends,
}
