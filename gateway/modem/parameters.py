"""Name and value -> parameters: what a modem can be set to, each with its range and its default (V.250)."""

from dataclasses import dataclass, replace
from typing import Final

from adapters.errors import WrongWords


@dataclass(frozen=True, slots=True)
class Parameters:
    """All that commands can set. As it stands here it is what &F sets."""

    echo: int = 1
    quiet: int = 0
    verbose: int = 1
    progress: int = 4
    loudness: int = 2
    speaker: int = 1
    carrier: int = 1
    ready: int = 2
    answer_rings: int = 0
    end: int = 13
    feed: int = 10
    rubout: int = 8
    blind_pause: int = 2
    wait: int = 60
    pause: int = 2
    loss: int = 15
    framing: int = 3
    parity: int = 3
    flow_in: int = 2
    flow_out: int = 2
    rate_report: int = 0


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter of the basic syntax: its command, its field, its range, and V.250's section."""

    name: str
    field: str
    lowest: int
    highest: int
    section: str
    meaning: str


_ALL: Final = (
    Parameter("E", "echo", 0, 1, "6.2.4", "1: what is typed as a command is sent back"),
    Parameter("Q", "quiet", 0, 1, "6.2.5", "1: no result codes"),
    Parameter("V", "verbose", 0, 1, "6.2.6", "Result codes as numbers (0) or words (1)"),
    Parameter(
        "X",
        "progress",
        0,
        4,
        "6.2.7",
        "0: CONNECT without a speed; NO DIALTONE with 2 and 4, BUSY with 3 and 4",
    ),
    Parameter("L", "loudness", 0, 3, "6.3.13", "A loudspeaker's loudness; kept, there is none"),
    Parameter("M", "speaker", 0, 2, "6.3.14", "When a loudspeaker is on; kept, there is none"),
    Parameter(
        "&C", "carrier", 0, 1, "6.2.8", "The carrier's line is always up (0), or as long as a call (1)"
    ),
    Parameter(
        "&D",
        "ready",
        0,
        2,
        "6.2.9",
        "When the terminal's ready line drops: nothing (0), command state (1), hang up and answer none (2)",
    ),
    Parameter("S0", "answer_rings", 0, 255, "6.3.8", "Rings after which a call is answered; 0: never"),
    Parameter("S3", "end", 0, 127, "6.2.1", "The character that ends a command, and the first of a line end"),
    Parameter("S4", "feed", 0, 127, "6.2.2", "The second character of a line end"),
    Parameter("S5", "rubout", 0, 127, "6.2.3", "The character that rubs out the one before"),
    Parameter(
        "S6", "blind_pause", 2, 10, "6.3.9", "Seconds before dialling without a tone; kept, not waited"
    ),
    Parameter("S7", "wait", 1, 255, "6.3.10", "Seconds that a call may take to come about"),
    Parameter("S8", "pause", 0, 255, "6.3.11", "Seconds that a comma waits before the call is made"),
    Parameter(
        "S10", "loss", 1, 254, "6.3.12", "Tenths of a second from the far end's hanging up to NO CARRIER"
    ),
)
PARAMETERS: Final = {each.name: each for each in _ALL}
"""By name. Defaults are the recommendation's; it leaves those of L, S7 and S10 to the maker."""


def changed(parameters: Parameters, name: str, value: int) -> Parameters:
    """The parameters with one set. WrongWords: no such name, or out of its range."""
    found = PARAMETERS.get(name)
    if found is None or not found.lowest <= value <= found.highest:
        raise WrongWords(f"{name} is not known, or does not go to {value}")
    return replace(parameters, **{found.field: value})


def value_of(parameters: Parameters, name: str) -> int:
    """What a parameter is set to. WrongWords: there is none of that name."""
    found = PARAMETERS.get(name)
    if found is None:
        raise WrongWords(f"{name} is not known")
    value: int = getattr(parameters, found.field)
    return value
