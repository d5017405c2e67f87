"""Numbers that keep their digits."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.values import JsonNumber

NUMBERS = st.decimals(allow_nan=False, allow_infinity=False, places=3) | st.integers().map(Decimal)


@given(NUMBERS, NUMBERS)
def test_equal_and_ordered_by_exact_value(left: Decimal, right: Decimal) -> None:
    """Python's decimal is the reference."""
    one, other = JsonNumber(str(left)), JsonNumber(str(right))
    assert (one == other) == (left == right)
    assert (one < other) == (left < right)
    if one == other:
        assert hash(one) == hash(other)


def test_digits_stay_and_notation_does_not_matter() -> None:
    assert JsonNumber("1.10").text == "1.10"
    assert JsonNumber("1.10") == JsonNumber("11e-1")
    assert JsonNumber("9007199254740993") != JsonNumber("9007199254740992")
    assert JsonNumber("1") != 1
    assert repr(JsonNumber("-0")) == "JsonNumber('-0')"
