"""Extended command -> new parameters or a text (V.250 sections 5.4, 6.1 and 6.2).

Known are those of the recommendation that mean something where there is no telephone line: who the modem is,
and its end towards the terminal. Modulation, error control and compression are left to TCP, so that +MS, +ES,
+DS and the rest are not known, and +GCAP lists none of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from adapters.errors import WrongWords
from gateway.modem.commands import Extended, Form
from gateway.modem.parameters import Parameters


@dataclass(frozen=True, slots=True)
class Identity:
    """What the modem says of itself: its line's `speed` in bits a second as set, and the version."""

    speed: int = 9_600
    version: str = ""

    @property
    def text(self) -> str:
        """Name and version, for I."""
        return f"{_NAME} {self.version}".rstrip()


_NAME: Final = "headrace"


@dataclass(frozen=True, slots=True)
class ExtendedParameter:
    """A parameter of the extended syntax: the field and the values of each of its parts."""

    name: str
    section: str
    meaning: str
    fields: tuple[str, ...] = ()
    values: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class ExtendedAction:
    """A command of the extended syntax that only shows something."""

    name: str
    section: str
    meaning: str


_ACTIONS: Final = (
    ExtendedAction("+GMI", "6.1.4", "Who made it"),
    ExtendedAction("+GMM", "6.1.5", "What it is"),
    ExtendedAction("+GMR", "6.1.6", "Its version"),
    ExtendedAction("+GCAP", "6.1.9", "What further sets of commands it has: none"),
)
_PARAMETERS: Final = (
    ExtendedParameter("+IPR", "6.2.10", "The line's speed; takes only what it already is"),
    ExtendedParameter(
        "+ICF",
        "6.2.11",
        "Eight bits, one stop bit; the parity is kept, and bit 7 ignored",
        ("framing", "parity"),
        ((3,), (0, 1, 2, 3)),
    ),
    ExtendedParameter(
        "+IFC",
        "6.2.12",
        "Flow control, of the modem and of the terminal: none or by the line's own wires; kept",
        ("flow_in", "flow_out"),
        ((0, 2), (0, 2)),
    ),
    ExtendedParameter(
        "+ILRR",
        "6.2.13",
        "1: the speed is told before CONNECT, as in `+ILRR: 9600`",
        ("rate_report",),
        ((0, 1),),
    ),
)
EXTENDED_ACTIONS: Final = {each.name: each for each in _ACTIONS}
EXTENDED_PARAMETERS: Final = {each.name: each for each in _PARAMETERS}


def extended(command: Extended, parameters: Parameters, identity: Identity) -> tuple[Parameters, str | None]:
    """The parameters after a command, and the text that it shows. WrongWords: not known, or not that way."""
    if command.name in EXTENDED_ACTIONS:
        if command.form is Form.DO:
            return parameters, _shown(command.name, identity)
        if command.form is Form.TEST:
            return parameters, None
        raise WrongWords(f"{command.name} cannot be set or read")
    found = EXTENDED_PARAMETERS.get(command.name)
    if found is None or command.form is Form.DO:
        raise WrongWords(f"{command.name} is not known, or not alone")
    if found.name == "+IPR":
        return parameters, _speed(command, identity)
    if command.form is Form.SET:
        return _set(command, found, parameters), None
    if command.form is Form.READ:
        return (
            parameters,
            f"{found.name}: {','.join(str(getattr(parameters, name)) for name in found.fields)}",
        )
    return parameters, f"{found.name}: {','.join(value_list(values) for values in found.values)}"


def _shown(name: str, identity: Identity) -> str:
    texts = {"+GMI": _NAME, "+GMM": f"{_NAME} modem", "+GMR": identity.version, "+GCAP": "+GCAP: "}
    return texts[name]


def _speed(command: Extended, identity: Identity) -> str | None:
    """+IPR. Its test form lists the speeds that it finds by itself, none, and those that can be set."""
    if command.form is Form.SET:
        if command.values not in {(identity.speed,), (None,)}:
            raise WrongWords("The line's speed cannot be changed")
        return None
    return f"+IPR: {identity.speed}" if command.form is Form.READ else f"+IPR: (),({identity.speed})"


def _set(command: Extended, found: ExtendedParameter, parameters: Parameters) -> Parameters:
    """A value left out stays as it was."""
    if len(command.values) > len(found.fields):
        raise WrongWords(f"{found.name} has too many values")
    for name, values, value in zip(found.fields, found.values, command.values, strict=False):
        if value is not None and value not in values:
            raise WrongWords(f"{found.name} does not take {value}")
        if value is not None:
            parameters = replace(parameters, **{name: value})
    return parameters


def value_list(values: Sequence[int]) -> str:
    """Values as a test form shows them (section 5.4.3): `(0-3)`, `(0,2)`."""
    if len(values) > 2:
        return f"({values[0]}-{values[-1]})"
    return f"({','.join(str(value) for value in values)})"
