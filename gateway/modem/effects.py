"""What a modem wants done: effects, in the order in which they are to happen."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Show:
    """Bytes to the terminal."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Send:
    """Bytes to the far end."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Dial:
    """Make a call. `text` is what was typed, case and all: a place's name, host:port, or whatever else.

    `number` is the same read as a telephone number, digits only, or empty where it cannot be one. Names go
    first: a place called W3 is no number.
    """

    text: str
    number: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """Take the call that rings."""


@dataclass(frozen=True, slots=True)
class Refuse:
    """Turn away who is calling: the one that rings or, while the line is in use, the one that came last."""


@dataclass(frozen=True, slots=True)
class HangUp:
    """End the call, or the attempt. Nothing more is to be told of it."""


@dataclass(frozen=True, slots=True)
class Carrier:
    """What the line that shows a carrier (circuit 109) is to show from now on."""

    up: bool


Effect = Show | Send | Dial | Answer | Refuse | HangUp | Carrier
