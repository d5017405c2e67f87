"""Numbers: exact decimals on the text (CONTRACT section 4 "Values"), against Python's decimal."""

import json
import time
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.extract.fields import numbers
from gateway.extract.values import MISSING, JsonNumber

CASES = Path(__file__).parents[3] / "cases"
WIDE = Context(prec=5_000, rounding=ROUND_HALF_UP)

whole = st.text("0123456789", min_size=1, max_size=40)
json_literals = st.builds(
    lambda sign, digits, part, exponent: sign + (digits.lstrip("0") or "0") + part + exponent,
    st.sampled_from(["", "-"]),
    whole,
    st.just("") | whole.map(lambda digits: f".{digits}"),
    st.just("") | st.builds("{}{}".format, st.sampled_from(["e", "E", "e+", "e-"]), st.integers(0, 60)),
)  # RFC 8259 section 6


def test_numbers_come_out_digit_for_digit() -> None:
    folder = CASES / "json-exact-numbers"
    wanted = json.loads((folder / "expected.json").read_text("utf-8"))
    sent = json.loads(
        (folder / "numbers.json").read_text("utf-8"), parse_float=JsonNumber, parse_int=JsonNumber
    )
    shown = {
        f"$.{name}": numbers.expanded(value.text)
        for name, value in sent.items()
        if isinstance(value, JsonNumber)
    }
    assert len(shown) == 8
    assert shown == {name: text for name, text in wanted.items() if name in shown}


@given(json_literals)
def test_expanded_is_what_decimal_writes_without_an_exponent(literal: str) -> None:
    number = Decimal(literal)
    assert numbers.expanded(literal) == format(number if number else number.copy_abs(), "f")


@given(json_literals, st.integers(0, 30))
def test_rounded_is_round_half_up_of_decimal(literal: str, decimals: int) -> None:
    number = numbers.read(literal)
    assert number is not None
    wanted = WIDE.quantize(Decimal(literal), Decimal(1).scaleb(-decimals))
    shown = numbers.rounded(number, decimals)
    assert Decimal(shown) == wanted
    assert shown == format(wanted if wanted else wanted.copy_abs(), "f")


@pytest.mark.parametrize(
    ("literal", "decimals", "shown"),
    [
        ("0.5", 0, "1"),
        ("-0.5", 0, "-1"),
        ("2.5", 0, "3"),
        ("-2.5", 0, "-3"),
        ("-0.004", 2, "0.00"),
        ("-0.005", 2, "-0.01"),
        ("2.675", 2, "2.68"),  # 2.67 where the number went through binary
        ("1.005", 2, "1.01"),
        ("-0", 0, "0"),
        ("-0e5", 2, "0.00"),
        ("0.49999999999999999999999999999999999", 0, "0"),
        ("9.995", 2, "10.00"),
        ("9007199254740993", 0, "9007199254740993"),  # 2 ** 53 + 1
        ("1e3", 2, "1000.00"),
        ("99999999999999999999999999999999999999.5", 0, "1" + "0" * 38),  # beyond decimal's usual 28 digits
    ],
)
def test_rounding_half_away_from_zero(literal: str, decimals: int, shown: str) -> None:
    number = numbers.read(literal)
    assert number is not None
    assert numbers.rounded(number, decimals) == shown


@pytest.mark.parametrize(
    ("text", "value"),
    [
        (" 7 ", "7"),
        ("+5", "5"),
        ("\n-1.50\t", "-1.50"),
        (".5", "0.5"),
        ("5.", "5"),
        ("1E2", "100"),
        ("007", "7"),
    ],
)
def test_numeric_text(text: str, value: str) -> None:
    assert numbers.number_of(text) == Decimal(value)


NO_NUMBERS = [
    *["", "-", ".", "e5", "1e", "1e+", "--1", "1.2.3", "1,000", "1 000", "1_000", "0x1F", "NaN", "Infinity"],
    *["٣", "１", "5%", "1/2", "$5", "12abc", "true", "one"],
]


@pytest.mark.parametrize("text", NO_NUMBERS)
def test_what_is_no_number(text: str) -> None:
    assert numbers.number_of(text) is None


@pytest.mark.parametrize("value", [True, False, None, MISSING, [JsonNumber("1")], {"a": JsonNumber("1")}])
def test_what_is_no_number_by_type(value: object) -> None:
    assert numbers.number_of(value) is None  # type: ignore[arg-type]


# The cap comes before any digit is written


@pytest.mark.parametrize(
    "literal",
    ["1e999999999", "1e-999999999", "9" * 20_000, "0." + "1" * 20_000, "1e" + "9" * 20_000, "-1e1001"],
)
def test_hostile_literals_are_misfits_at_once(literal: str) -> None:
    number = JsonNumber(literal)
    before = time.perf_counter()
    for _ in range(1_000):
        assert numbers.number_of(number) is None
        assert numbers.expanded(number.text) is None
    assert time.perf_counter() - before < 0.5  # 250 us each; measured near 1 us


@pytest.mark.parametrize("literal", ["0e999999999", "-0e-999999999", "0.0e1001"])
def test_nought_is_nought_whatever_its_exponent(literal: str) -> None:
    assert numbers.number_of(JsonNumber(literal)) == 0
    assert numbers.expanded(literal) == "0"


def test_the_limit_is_the_digits_written_out() -> None:
    for most in (
        "9" * limits.DIGITS,
        f"1e{limits.DIGITS - 1}",
        f"1e-{limits.DIGITS - 1}",
        f"1e00000{limits.DIGITS - 1}",
    ):
        written = numbers.expanded(most)
        assert written is not None
        assert len(written.replace(".", "")) == limits.DIGITS
    for over in (
        "9" * (limits.DIGITS + 1),
        f"1e{limits.DIGITS}",
        f"1e-{limits.DIGITS}",
        f"1.5e-{limits.DIGITS - 1}",
    ):
        assert numbers.expanded(over) is None


# Arithmetic


@given(json_literals, json_literals, json_literals)
def test_scale_and_offset_are_exact(literal: str, scale: str, offset: str) -> None:
    shown = numbers.scaled(Decimal(literal), Decimal(scale), Decimal(offset))
    assert shown is not None
    assert Fraction(shown) == Fraction(literal) * Fraction(scale) + Fraction(offset)


def test_scaling_that_would_lose_digits_is_refused() -> None:
    assert numbers.scaled(Decimal("1e900"), Decimal("1e9000"), None) is None
    assert numbers.scaled(Decimal("1e900"), None, Decimal("1e-9000")) is None


@given(st.lists(json_literals, min_size=1, max_size=30), st.integers(0, 12))
def test_sum_and_mean_are_exact(literals: list[str], decimals: int) -> None:
    exact = sum(map(Fraction, literals), Fraction())
    total = numbers.total(map(Decimal, literals))
    assert total is not None
    assert Fraction(total) == exact
    mean = numbers.mean(total, len(literals), decimals)
    error = abs(Fraction(mean)) - abs(exact / len(literals))
    half = Fraction(1, 2 * 10**decimals)
    assert -half < error <= half  # the nearest, and of two equally near ones the one away from zero
    assert mean == 0 or (mean < 0) == (exact < 0)


@pytest.mark.parametrize(
    ("total", "count", "decimals", "mean"),
    [
        ("1", 8, 2, "0.13"),
        ("-1", 8, 2, "-0.13"),
        ("1", 3, 2, "0.33"),
        ("2", 3, 2, "0.67"),
        ("5", 2, 0, "3"),
        ("0", 7, 2, "0"),
    ],
)
def test_mean_rounds_once_and_half_away_from_zero(total: str, count: int, decimals: int, mean: str) -> None:
    assert numbers.mean(Decimal(total), count, decimals) == Decimal(mean)


# Base 16


@given(st.integers(0, 10**300))
def test_hexadecimal_is_python_s(number: int) -> None:
    assert numbers.hexadecimal(Decimal(number)) == format(number, "X")


@pytest.mark.parametrize(
    ("literal", "shown"),
    [
        ("255", "FF"),
        ("255.0", "FF"),
        ("1e2", "64"),
        ("-0", "0"),
        ("-1", None),
        ("0.5", None),
        ("1e400", None),
    ],
)
def test_hexadecimal_needs_a_whole_number_from_nought(literal: str, shown: str | None) -> None:
    assert numbers.hexadecimal(Decimal(literal)) == shown


def test_a_sum_of_more_digits_than_can_be_kept_is_none() -> None:
    assert numbers.total([Decimal("1e7990"), Decimal("1e-20")]) is None
    assert numbers.total([Decimal("1e7990"), Decimal(1)]) == Decimal("1" + "0" * 7989 + "1")
