"""XPath values -> other XPath values: conversion and comparison (XPath 1.0 sections 3.4, 4.2, 4.3, 4.4)."""

import math
import operator
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Final, TypeAlias

Scalar: TypeAlias = str | float | bool
Operand: TypeAlias = Scalar | list[str]
"""What is compared; a node-set is the list of its nodes' string-values."""

BLANKS: Final = " \t\r\n"
_NUMBER: Final = re.compile(rf"[{BLANKS}]*(-?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))[{BLANKS}]*")

_ORDERINGS: Final[dict[str, Callable[[float, float], bool]]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}


def to_string(value: Scalar) -> str:
    """The string() of a value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return number_text(value) if isinstance(value, float) else value


def to_number(value: Scalar) -> float:
    """The number() of a value; NaN where its text is none. An exponent makes no number in XPath 1.0."""
    if isinstance(value, float):
        return value
    if isinstance(value, bool):
        return 1.0 if value else 0.0
    found = _NUMBER.fullmatch(value)
    return float(found[1]) if found else math.nan


def to_boolean(value: Scalar) -> bool:
    """The boolean() of a value."""
    if isinstance(value, float):
        return value != 0 and not math.isnan(value)
    return bool(value)


def number_text(value: float) -> str:
    """A number as string() writes it: no exponent, no sign on zero, the fewest digits that tell it apart."""
    if math.isnan(value):
        return "NaN"
    if math.isinf(value):
        return "Infinity" if value > 0 else "-Infinity"
    if value == 0:
        return "0"
    return format(Decimal(repr(value)), "f").removesuffix(".0")


def equal(left: Operand, right: Operand, wanted: bool) -> bool:
    """Whether `=` (wanted) or `!=` holds; for node-sets, whether it does for any of their nodes."""
    if isinstance(left, list):
        if not isinstance(right, list):
            return _any_equal(left, right, wanted)
        lefts, rights = set(left), set(right)
        if wanted:
            return not lefts.isdisjoint(rights)
        return bool(lefts and rights) and not (len(lefts) == 1 and lefts == rights)
    if isinstance(right, list):
        return _any_equal(right, left, wanted)
    return _equal(left, right) == wanted


def _any_equal(nodes: list[str], other: Scalar, wanted: bool) -> bool:
    if isinstance(other, bool):
        return (bool(nodes) == other) == wanted
    return any(_equal(text, other) == wanted for text in nodes)


def _equal(left: Scalar, right: Scalar) -> bool:
    if isinstance(left, bool) or isinstance(right, bool):
        return to_boolean(left) == to_boolean(right)
    if isinstance(left, float) or isinstance(right, float):
        return to_number(left) == to_number(right)
    return left == right


def ordered(left: Operand, right: Operand, sign: str) -> bool:
    """Whether `<`, `<=`, `>` or `>=` holds between numbers: for node-sets, whether it does for any pair."""
    compare = _ORDERINGS[sign]
    # Beside a boolean, a node-set counts as one.
    if isinstance(left, bool) and isinstance(right, list):
        right = bool(right)
    if isinstance(right, bool) and isinstance(left, list):
        left = bool(left)
    lefts, rights = _numbers(left), _numbers(right)
    if not lefts or not rights:
        return False
    # If any pair is in order, the extremes are.
    return compare(min(lefts), max(rights)) if sign in {"<", "<="} else compare(max(lefts), min(rights))


def _numbers(value: Operand) -> list[float]:
    values = map(to_number, value if isinstance(value, list) else [value])
    return [each for each in values if not math.isnan(each)]
