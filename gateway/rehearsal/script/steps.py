"""What a script says, a step a statement, each with the line that it stands in."""

from dataclasses import dataclass
from typing import Final, TypeAlias

from gateway.rehearsal.script.patterns import Pattern

FIRST_WITHIN: Final = 5.0
"""Seconds that a script waits for what is to come, until it says otherwise."""
CRLF: Final = b"\r\n"


@dataclass(frozen=True, slots=True)
class Dial:
    """Open a line called `name` to the gateway's listener of that number, from 1."""

    name: str = ""
    listener: int = 1


@dataclass(frozen=True, slots=True)
class On:
    """Go on with the line of that name."""

    name: str


@dataclass(frozen=True, slots=True)
class Say:
    """Send these bytes and a line end."""

    text: bytes


@dataclass(frozen=True, slots=True)
class Put:
    """Send these bytes."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Hear:
    """A line that matches comes."""

    pattern: Pattern


@dataclass(frozen=True, slots=True)
class Take:
    """Bytes that match come."""

    pattern: Pattern


@dataclass(frozen=True, slots=True)
class Skip:
    """So many lines come."""

    count: int


@dataclass(frozen=True, slots=True)
class Wait:
    """Do nothing for so many seconds."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Quiet:
    """Nothing comes for so many seconds."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Finish:
    """Send no more."""


@dataclass(frozen=True, slots=True)
class Close:
    """Hang up."""


@dataclass(frozen=True, slots=True)
class Reset:
    """Cut the line."""


@dataclass(frozen=True, slots=True)
class Closed:
    """The gateway hangs up, and nothing came before."""


@dataclass(frozen=True, slots=True)
class Ends:
    """Line ends from here on, on every line."""

    said: bytes = CRLF
    heard: bytes = CRLF


@dataclass(frozen=True, slots=True)
class Within:
    """How many seconds to wait from here on for what is to come."""

    seconds: float


Expectation: TypeAlias = Hear | Take | Skip | Quiet | Closed
"""What is to come."""
Step: TypeAlias = Expectation | Dial | On | Say | Put | Wait | Finish | Close | Reset | Ends | Within


@dataclass(frozen=True, slots=True)
class Placed:
    """A step and the number of its line, from 1."""

    line: int
    step: Step


@dataclass(frozen=True, slots=True)
class Script:
    """A script by its name, such as a file's; `lines` are its text, without line ends."""

    name: str
    lines: tuple[str, ...]
    steps: tuple[Placed, ...]
