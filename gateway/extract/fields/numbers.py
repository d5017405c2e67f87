"""number or numeric text -> exact Decimal -> decimal text (CONTRACT section 4 "Values").

No binary floating point anywhere. A literal is measured before it is expanded: one with more digits than
`limits.DIGITS` when written out is no number here, so `1e999999999` and ten thousand digits cost nothing.

Numeric text is an optional sign, ASCII digits with at most one point, and an optional exponent, between
blanks: what XML and CSV hold, and what JSON servers put between quotes. Nothing else is a number: no
thousands separator, no `0x`, no `NaN`, no true or false.
"""

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Context, Decimal, DivisionByZero, Inexact, InvalidOperation, Overflow
from fractions import Fraction
from functools import lru_cache
from typing import Final

from adapters import limits
from gateway.extract.values import JsonNumber, Value

_NUMBER: Final = re.compile(
    r"[+-]?(?=\.?[0-9])(?P<whole>[0-9]*)(?:\.(?P<part>[0-9]*))?(?:[eE][+-]?0*(?P<exponent>[0-9]+))?"
)
_EXPONENT_DIGITS: Final = 6  # more than any exponent that limits.DIGITS lets through
_LITERAL_CHARACTERS: Final = limits.DIGITS + 16  # a sign, a point and an exponent beside the digits
_HEX_DECIMALS: Final = 310  # decimal digits of the widest hex field, 255 characters
_ZERO: Final = Decimal(0)

# Products of two capped numbers and sums of many keep every digit; what would lose one raises.
_EXACT: Final = Context(
    prec=8 * limits.DIGITS,
    Emax=8 * limits.DIGITS,
    Emin=-8 * limits.DIGITS,
    traps=[Inexact, InvalidOperation, Overflow, DivisionByZero],
)
_ROUNDING: Final = Context(
    prec=16 * limits.DIGITS,
    Emax=16 * limits.DIGITS,
    Emin=-16 * limits.DIGITS,
    rounding=ROUND_HALF_UP,  # half away from zero
    traps=[InvalidOperation, Overflow, DivisionByZero],
)


def read(text: str) -> Decimal | None:
    """The exact value of a literal without blanks around it; None where it is none, or over the limit."""
    if len(text) > _LITERAL_CHARACTERS:
        return None
    match = _NUMBER.fullmatch(text)
    if match is None:
        return None
    whole, part, exponent = match.group("whole", "part", "exponent")
    if exponent is None:
        return Decimal(text) if len(whole) + len(part or "") <= limits.DIGITS else None
    if len(exponent) <= _EXPONENT_DIGITS:
        number = Decimal(text)
        fraction_digits = max(0, len(number.as_tuple().digits) - 1 - number.adjusted())
        if max(number.adjusted(), 0) + fraction_digits < limits.DIGITS:
            return number
    nought = not whole.strip("0") and not (part or "").strip("0")
    return _ZERO if nought else None  # 0e999999999 is nought, however it is written


def number_of(value: Value) -> Decimal | None:
    """The exact value of a JSON number or of numeric text; None for anything else."""
    if isinstance(value, JsonNumber):
        return read(value.text)
    if isinstance(value, str):
        return read(value.strip())
    return None


def expanded(literal: str) -> str | None:
    """The digits that the server sent, without an exponent; None where they are over the limit.

    `1.5e+10` is `15000000000`, `0.10` stays `0.10`, `-0` is `0`.
    """
    if len(literal) <= limits.DIGITS and literal.isascii() and literal.isdecimal():
        return literal
    number = read(literal)
    return None if number is None else digits(number)


def digits(number: Decimal) -> str:
    """Every digit of `number`, without an exponent; minus zero is zero."""
    return format(number if number else number.copy_abs(), "f")


def scaled(number: Decimal, scale: Decimal | None, offset: Decimal | None) -> Decimal | None:
    """`number * scale + offset`, exactly; None where that has more digits than can be kept."""
    try:
        if scale is not None:
            number = _EXACT.multiply(number, scale)
        if offset is not None:
            number = _EXACT.add(number, offset)
    except ArithmeticError:
        return None
    return number


def rounded(number: Decimal, decimals: int) -> str:
    """`number` with exactly `decimals` decimals (at most 255), rounded half away from zero."""
    return digits(_ROUNDING.quantize(number, _unit(decimals)))


@lru_cache(maxsize=32)
def _unit(decimals: int) -> Decimal:
    return Decimal((0, (1,), -decimals))


def hexadecimal(number: Decimal) -> str | None:
    """A whole number in base 16, upper case; None where it is negative, fractional or far too long."""
    if not number:
        return "0"
    if number < 0 or number.adjusted() > _HEX_DECIMALS:
        return None
    whole = int(number)
    return format(whole, "X") if whole == number else None


def total(numbers: Iterable[Decimal]) -> Decimal | None:
    """The exact sum; None where it has more digits than can be kept."""
    result = _ZERO
    try:
        for number in numbers:
            result = _EXACT.add(result, number)
    except ArithmeticError:
        return None
    return result


def mean(sum_of_all: Decimal, count: int, decimals: int) -> Decimal:
    """`sum_of_all / count`, rounded once, half away from zero, from the exact ratio."""
    ratio = Fraction(sum_of_all.copy_abs()) * 10**decimals / count
    whole, rest = divmod(ratio.numerator, ratio.denominator)
    if 2 * rest >= ratio.denominator:
        whole += 1
    result = Decimal(whole).scaleb(-decimals, _ROUNDING)
    return result.copy_negate() if sum_of_all < 0 else result
