"""Exact comparison against Python's Fraction, whose values are exact too."""

import time
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.json_text import parse_json
from gateway.extract.jsonpath.compare import equal, holds, less, magnitude, number_less, numbers_equal
from gateway.extract.values import MISSING, JsonNumber, Value

_numbers = st.from_regex(r"-?(0|[1-9][0-9]{0,25})(\.[0-9]{1,25})?([eE][+-]?[0-9]{1,2})?", fullmatch=True)
_close = st.tuples(
    st.sampled_from(["", "-"]),
    st.sampled_from(["0", "1", "10", "100", "9", "99"]),
    st.sampled_from(["", ".0", ".1", ".10", ".01", ".9", ".99", ".000"]),
    st.sampled_from(["", "e0", "E1", "e+1", "e-1", "e-2", "e2", "e00"]),
).map("".join)


def ignore(_count: int) -> None:
    """Nothing is counted here."""


@given(_numbers | _close, _numbers | _close)
def test_numbers_compare_as_fractions_do(left: str, right: str) -> None:
    assert numbers_equal(left, right) == (Fraction(left) == Fraction(right))
    assert number_less(left, right) == (Fraction(left) < Fraction(right))


@given(_numbers | _close, st.integers(-(10**30), 10**30))
def test_a_shifted_point_changes_nothing(text: str, shift: int) -> None:
    mantissa, _, exponent = text.lower().partition("e")
    moved = f"{mantissa}e{int(exponent or '0') + shift}"
    assert numbers_equal(moved, moved)
    if Fraction(mantissa) == 0:
        assert numbers_equal(moved, "0")
    elif shift > 200:  # far beyond the exponent that the number has itself
        assert number_less("1e60", moved) == (not mantissa.startswith("-"))
    elif shift < -200:
        assert number_less("1e-60", moved) is False


@pytest.mark.parametrize("exponent", ["9" * 18, "9" * 19, "9" * 4_300, "9" * 4_301, "9" * 1_000_000])
@pytest.mark.parametrize("sign", ["", "-"])
def test_huge_exponents_are_exact_and_quick(exponent: str, sign: str) -> None:
    begun = time.perf_counter()
    huge = f"1e{sign}{exponent}"
    assert numbers_equal(f"10e{sign}{exponent}", f"1{'0'}.0e{sign}{exponent}")
    assert not numbers_equal(f"10e{sign}{exponent}", huge)
    assert number_less(huge, f"10e{sign}{exponent}")
    assert number_less(f"-10e{sign}{exponent}", f"-1e{sign}{exponent}")
    assert number_less(huge, "1e-5") == (sign == "-")
    assert number_less("0", huge) and number_less(f"-{huge}", "0")
    shifted = exponent[:-1] + "8"  # one less
    one_more, one_less = (exponent, shifted) if not sign else (shifted, exponent)
    assert numbers_equal(f"1e{sign}{one_more}", f"10e{sign}{one_less}")
    assert time.perf_counter() - begun < 5  # expanding any of these would never end


@pytest.mark.parametrize("length", [5_000, 1_000_000])
def test_long_numbers_are_exact_and_quick(length: int) -> None:
    begun = time.perf_counter()
    digits = "7" * length
    assert numbers_equal(digits, digits + ".000")
    assert numbers_equal(digits, f"0.{digits}e{length}")
    assert number_less(digits, digits[:-1] + "8")
    assert number_less(digits, f"{digits}.{'0' * length}1")
    assert not numbers_equal(digits, digits + "." + "0" * length + "1")
    assert time.perf_counter() - begun < 5


@pytest.mark.parametrize("zero", ["0", "-0", "0.00", "-0e999999999999999999999", "0E-5"])
def test_all_zeros_are_one(zero: str) -> None:
    assert magnitude(zero) == (0, 0, "")
    assert numbers_equal(zero, "0")
    assert not number_less(zero, "0") and not number_less("0", zero)


_values: list[Value] = [
    MISSING,
    None,
    True,
    False,
    "",
    "1",
    JsonNumber("1"),
    JsonNumber("0"),
    [],
    {},
    [None],
    {"a": None},
]


@pytest.mark.parametrize("left", range(len(_values)))
@pytest.mark.parametrize("right", range(len(_values)))
def test_values_of_different_kinds_are_unequal_and_unordered(left: int, right: int) -> None:
    # RFC 9535 section 2.3.5.2.2; in Python, True == 1 and False == 0
    one, other = _values[left], _values[right]
    assert equal(one, other, ignore) is (left == right)
    assert holds("!=", one, other, ignore) is (left != right)
    if type(one) is not type(other) or not isinstance(one, (str, JsonNumber)):
        assert not less(one, other)
        assert holds("<=", one, other, ignore) is (left == right)
        assert holds(">=", one, other, ignore) is (left == right)


@pytest.mark.parametrize(
    ("left", "right", "same"),
    [
        ('{"a":1,"b":[2]}', '{"b":[2.0],"a":1e0}', True),  # members have no order
        ('{"a":1}', '{"a":1,"b":1}', False),
        ('{"a":1}', '{"b":1}', False),
        ("[1,2]", "[2,1]", False),
        ("[1]", "[1,1]", False),
        ("[[[true]]]", "[[[1]]]", False),
        ('[{"a":[]}]', '[{"a":{}}]', False),
        ("[]", "{}", False),
    ],
)
def test_structures_are_equal_by_content(left: str, right: str, same: bool) -> None:
    one, other = parse_json(left.encode()), parse_json(right.encode())
    assert equal(one, other, ignore) is same
    assert equal(other, one, ignore) is same


def test_what_is_compared_is_counted() -> None:
    counted: list[int] = []
    equal([[None] * 10, {"a": None}], [[None] * 10, {"a": None}], counted.append)
    assert sum(counted) == 2 + 10 + 1


def test_what_is_no_number_and_what_is_no_comparison() -> None:
    with pytest.raises(ValueError, match="not a JSON number"):
        magnitude("0x10")
    with pytest.raises(ValueError, match="no such comparison"):
        holds("~", None, None, ignore)
