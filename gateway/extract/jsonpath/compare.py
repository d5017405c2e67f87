"""Two values -> whether they are equal, or the first is less (RFC 9535 section 2.3.5.2.2).

Numbers are compared by their exact decimal value, read from their text, so 1.10 equals 1.1 and no integer is
too long. Nothing is expanded: a number is its sign, the place of its first digit and its digits, which
costs its length however large its exponent is.
"""

import re
from collections.abc import Callable
from decimal import MAX_EMAX, MIN_EMIN, Context, Decimal
from typing import Final

from gateway.extract.values import JsonNumber, Value

_NUMBER: Final = re.compile(r"(-?)([0-9]+)(?:\.([0-9]+))?(?:[eE]([-+]?[0-9]+))?")
_SHORT_EXPONENT: Final = 18  # characters; Python refuses to make an int of thousands of digits

Magnitude = tuple[int, "int | Decimal", str]
"""Sign, place and digits of sign * 0.DIGITS * 10**place, the digits without zeros at either end."""


def magnitude(text: str) -> Magnitude:
    """The exact value of a JSON number, in a form that can be compared."""
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise ValueError("not a JSON number")
    sign, whole, fraction, exponent = found.groups()
    written = whole + (fraction or "")
    digits = written.lstrip("0")
    if not digits:
        return 0, 0, ""  # minus zero is zero
    shift = len(whole) - (len(written) - len(digits))
    return -1 if sign else 1, _place(shift, exponent), digits.rstrip("0")


def _place(shift: int, exponent: str | None) -> int | Decimal:
    if exponent is None:
        return shift
    if len(exponent) <= _SHORT_EXPONENT:
        return shift + int(exponent)
    exact = Context(prec=len(exponent) + _SHORT_EXPONENT, Emax=MAX_EMAX, Emin=MIN_EMIN)
    return exact.add(Decimal(exponent), Decimal(shift))


def _plain(text: str) -> bool:
    """Whether Decimal reads it exactly: anything without an exponent."""
    return "e" not in text and "E" not in text


def numbers_equal(left: str, right: str) -> bool:
    """Whether two JSON numbers have the same value."""
    if left == right:
        return True
    if _plain(left) and _plain(right):
        return Decimal(left) == Decimal(right)
    return magnitude(left) == magnitude(right)


def number_less(left: str, right: str) -> bool:
    """Whether the first of two JSON numbers is the smaller one."""
    if _plain(left) and _plain(right):
        return Decimal(left) < Decimal(right)
    sign, *size = magnitude(left)
    other_sign, *other_size = magnitude(right)
    if sign != other_sign:
        return sign < other_sign
    return other_size < size if sign < 0 else size < other_size


def equal(left: Value, right: Value, look: Callable[[int], None]) -> bool:
    """Whether two values are equal, nothing being equal to nothing only.

    `look` is told how many members or elements are compared.
    """
    if isinstance(left, (dict, list)):
        return type(left) is type(right) and _structures_equal(left, right, look)
    return _scalars_equal(left, right)


def less(left: Value, right: Value) -> bool:
    """Whether the first is less: numbers by value, strings by Unicode scalar values, else never."""
    if isinstance(left, JsonNumber):
        return isinstance(right, JsonNumber) and number_less(left.text, right.text)
    return isinstance(left, str) and isinstance(right, str) and left < right


def _scalars_equal(left: Value, right: Value) -> bool:
    if left is right:  # true, false, null and nothing are there once each
        return True
    if isinstance(left, JsonNumber):
        return isinstance(right, JsonNumber) and numbers_equal(left.text, right.text)
    return isinstance(left, str) and isinstance(right, str) and left == right


def _structures_equal(left: Value, right: Value, look: Callable[[int], None]) -> bool:
    """Compare without recursion, as deep as documents may be."""
    pairs: list[tuple[Value, Value]] = [(left, right)]
    while pairs:
        one, other = pairs.pop()
        if isinstance(one, dict):
            if not isinstance(other, dict) or one.keys() != other.keys():
                return False
            look(len(one))
            pairs += [(member, other[name]) for name, member in one.items()]
        elif isinstance(one, list):
            if not isinstance(other, list) or len(one) != len(other):
                return False
            look(len(one))
            pairs += zip(one, other, strict=True)
        elif not _scalars_equal(one, other):
            return False
    return True


def holds(operator: str, left: Value, right: Value, look: Callable[[int], None]) -> bool:
    """Whether `left operator right` is true."""
    match operator:
        case "==":
            return equal(left, right, look)
        case "!=":
            return not equal(left, right, look)
        case "<":
            return less(left, right)
        case ">":
            return less(right, left)
        case "<=":
            return less(left, right) or equal(left, right, look)
        case ">=":
            return less(right, left) or equal(left, right, look)
    raise ValueError("no such comparison")
