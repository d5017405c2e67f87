"""The body of a command line -> its commands, one after another (V.250 sections 5.3 and 5.4).

They are read as they are run: what stands before a mistake has been done (section 5.3). Blanks are ignored,
but end a number (section 5.2.1).
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Final

from adapters.errors import WrongWords
from gateway.modem.dialling import DialString, dial_string
from gateway.modem.parameters import PARAMETERS


@dataclass(frozen=True, slots=True)
class Assign:
    """Set a parameter of the basic syntax: `E0`, `&C1`, `S0=2`."""

    name: str
    value: int


@dataclass(frozen=True, slots=True)
class Ask:
    """Show an S-parameter: `S0?`."""

    name: str


@dataclass(frozen=True, slots=True)
class Act:
    """Do something: `A`, `H0`, `Z`."""

    name: str


@dataclass(frozen=True, slots=True)
class Call:
    """D: dial. `more`: it ended in `;`, so that the call is not made yet."""

    string: DialString
    more: bool


class Form(Enum):
    """What is asked of an extended command."""

    DO = ""
    READ = "?"
    TEST = "=?"
    SET = "="


@dataclass(frozen=True, slots=True)
class Extended:
    """`+NAME` and what follows; a value left out is None."""

    name: str
    form: Form
    values: tuple[int | None, ...] = ()


Command = Assign | Ask | Act | Call | Extended


@dataclass(frozen=True, slots=True)
class Action:
    """A command that sets no parameter. `numbered`: it may have a 0 behind it."""

    name: str
    numbered: bool
    section: str
    meaning: str


_ALL: Final = (
    Action("A", False, "6.3.5", "Take the call that rings; what follows on the line is ignored"),
    Action("H", True, "6.3.6", "Hang up, or turn away the call that rings"),
    Action("I", True, "6.1.3", "Name and version"),
    Action("O", True, "6.3.7", "Back to the call's data; what follows on the line is ignored"),
    Action("P", False, "6.3.3", "Pulse dialling; makes no difference"),
    Action("T", False, "6.3.2", "Tone dialling; makes no difference"),
    Action("Z", True, "6.1.1", "Hang up and set all as it was at first; what follows on the line is ignored"),
    Action("&F", True, "6.1.2", "Set all to the defaults below"),
)
ACTIONS: Final = {each.name: each for each in _ALL}

_BLANKS: Final = re.compile(r" *")
_DIGITS: Final = re.compile(r"[0-9]*")
_EXTENDED: Final = re.compile(r"\+([A-Z][A-Z0-9!%\-./:_]{0,15})(=\?|\?|=)?")
_VALUES: Final = re.compile(r"(?: *[0-9]* *,)* *[0-9]* *")


def commands(body: str) -> Iterator[Command]:
    """The commands of a line. WrongWords, when its turn comes: one that is not understood."""
    place = 0
    while (place := _after_blanks(body, place)) < len(body):
        if body[place] in {"D", "d"}:
            typed, mark, _ = body[place + 1 :].partition(";")
            place += 1 + len(typed) + len(mark)
            yield Call(dial_string(typed), bool(mark))
        elif body[place] == "+":
            part, mark, _ = body[place:].partition(";")
            place += len(part) + len(mark)
            yield _extended(part)
        else:
            command, place = _basic(body, place)
            yield command


def _after_blanks(body: str, place: int) -> int:
    found = _BLANKS.match(body, place)
    assert found is not None
    return found.end()


def _number(body: str, place: int) -> tuple[str, int]:
    found = _DIGITS.match(body, _after_blanks(body, place))
    assert found is not None
    return found[0], found.end()


def _basic(body: str, place: int) -> tuple[Command, int]:
    name, place = body[place].upper(), place + 1
    if name == "&":
        place = _after_blanks(body, place)
        name, place = f"&{body[place : place + 1].upper()}", place + 1
    digits, after = _number(body, place)
    if name == "S":
        return _register(body, digits, after)
    if name in PARAMETERS:
        return Assign(name, int(digits or "0")), after
    action = ACTIONS.get(name)
    if action is None or (digits and not action.numbered) or digits.strip("0"):
        raise WrongWords(f"{name}{digits} is not known")
    return Act(name), after


def _register(body: str, digits: str, place: int) -> tuple[Command, int]:
    """S-parameters (section 5.3.2). A value left out is 0, one of the two ways that the section allows."""
    if not digits:
        raise WrongWords("S without a number")
    name = f"S{int(digits)}"
    place = _after_blanks(body, place)
    if body.startswith("?", place):
        return Ask(name), place + 1
    if not body.startswith("=", place):
        raise WrongWords(f"{name} without = or ?")
    value, place = _number(body, place + 1)
    return Assign(name, int(value or "0")), place


def _extended(part: str) -> Extended:
    """One extended command (section 5.4), from its + to where it ends. Only decimal values are understood."""
    head, mark, tail = part.partition("=")
    found = _EXTENDED.match((head.replace(" ", "") + mark + tail.lstrip(" ")).upper())
    if found is None:
        raise WrongWords(f"{part} is not understood")
    rest = found.string[found.end() :]
    form = Form(found[2] or "")
    if form is not Form.SET and rest.strip(" "):
        raise WrongWords(f"{part} is not understood")
    if form is not Form.SET:
        return Extended(f"+{found[1]}", form)
    if not _VALUES.fullmatch(rest):
        raise WrongWords(f"{part} has a value that is no number")
    words = [each.strip(" ") for each in rest.split(",")]
    return Extended(f"+{found[1]}", form, tuple(int(each) if each else None for each in words))
