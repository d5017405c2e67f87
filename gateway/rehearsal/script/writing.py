"""A step -> the line of a script that says it."""

from typing import Final

from gateway.rehearsal.script.patterns import shown_bytes, shown_pattern
from gateway.rehearsal.script.steps import (
    Close,
    Closed,
    Dial,
    Ends,
    Finish,
    Hear,
    On,
    Put,
    Quiet,
    Reset,
    Say,
    Skip,
    Step,
    Take,
    Wait,
    Within,
)

END_NAMES: Final = {b"\r": "cr", b"\n": "lf", b"\r\n": "crlf"}
"""Line ends and what a script calls them."""


def shown(step: Step) -> str:
    """The statement, without its line end."""
    match step:
        case Say(data):
            return _with_text("say", shown_bytes(data))
        case Put(data):
            return _with_text("put", shown_bytes(data))
        case Hear(pattern):
            return _with_text("hear", shown_pattern(pattern))
        case Take(pattern):
            return _with_text("take", shown_pattern(pattern))
        case Dial(name, listener):
            return " ".join(["dial", *([name] if name else []), *_listener(listener)])
        case On(name):
            return f"on {name}"
        case Skip(count):
            return f"skip {count}"
        case Wait(seconds):
            return f"wait {_seconds(seconds)}"
        case Quiet(seconds):
            return f"quiet {_seconds(seconds)}"
        case Within(seconds):
            return f"within {_seconds(seconds)}"
        case Ends(said, heard):
            return f"ends {END_NAMES[said]} {END_NAMES[heard]}"
        case Finish() | Close() | Reset() | Closed():  # pragma: no branch — mypy knows that these are all
            return type(step).__name__.lower()


def _with_text(word: str, text: str) -> str:
    bare = text and not text.startswith(" ") and not text.endswith(" ")
    return f"{word} {text}" if bare else f"{word}|{text}|"


def _listener(number: int) -> list[str]:
    return [f"listener {number}"] if number > 1 else []


def _seconds(seconds: float) -> str:
    return f"{seconds:.3f}".rstrip("0").rstrip(".")
