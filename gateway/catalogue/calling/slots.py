"""text with `{arg}` in it + values -> text: header values and bodies (URLs are `templates`)."""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Final, NamedTuple

ARG_NAME: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_SLOT: Final = re.compile(r"\{(" + ARG_NAME.pattern + r")\}")


class Slot(NamedTuple):
    """One `{arg}`: its name, and where that name stands in the text."""

    name: str
    start: int


def slots(text: str) -> Iterator[Slot]:
    """Every `{arg}` of a text. Braces around anything but a name are just braces."""
    for match in _SLOT.finditer(text):
        yield Slot(match[1], match.start(1))


def only_slot(text: str) -> str | None:
    """The arg's name, where the text is exactly `{arg}`."""
    match = _SLOT.fullmatch(text)
    return None if match is None else match[1]


def fill(text: str, values: Mapping[str, str], escape: Callable[[str], str] = str) -> str:
    """The text with every `{arg}` replaced, once: a value that holds braces is not looked at again."""
    return _SLOT.sub(lambda match: escape(values[match[1]]), text)
