"""A value -> what kind of value it is, in words."""

from typing import Final

from gateway.extract.fields.numbers import number_of
from gateway.extract.values import MISSING, JsonNumber, Value

NULL: Final = "null"
NUMBER: Final = "a number"
TEXT: Final = "text"
_OTHERS: Final = ((bool, "true or false"), (dict, "an object"), (list, "a list"))


def kind_of(value: Value) -> str:
    """The kind of a JSON value."""
    if value is None or value is MISSING:
        return NULL
    if isinstance(value, JsonNumber):
        return NUMBER
    return next((word for kind, word in _OTHERS if isinstance(value, kind)), TEXT)


def text_kind(value: Value) -> str:
    """The kind of what XML, HTML and CSV hold: text that is a number, or is none."""
    return NUMBER if number_of(value) is not None else TEXT
