"""Folding: a column becomes one value (CONTRACT section 4, `fold`)."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.fields.cell import Fit, make_cell
from gateway.extract.fields.folding import fold
from gateway.extract.fields.text import Lettering
from gateway.extract.plan import Field, Fold, Kind
from gateway.extract.values import MISSING, JsonNumber, Value

ASCII = Lettering("ascii")


def folded(how: Fold, kind: Kind, column: list[Value], width: int = 6, **options: Any) -> str:
    return fold(make_cell(Field("X", width, kind, **options), ASCII, "UTC"), how, column).text


def numbers(*literals: str) -> list[Value]:
    return [JsonNumber(literal) for literal in literals]


@pytest.mark.parametrize(
    ("how", "text"),
    [
        (Fold.SUM, "  0.60"),
        (Fold.MIN, "  0.10"),
        (Fold.MAX, "  0.30"),
        (Fold.MEAN, "  0.20"),
        (Fold.COUNT, "  3.00"),
        (Fold.FIRST, "  0.10"),
        (Fold.LAST, "  0.20"),
    ],
)
def test_numbers(how: Fold, text: str) -> None:
    column: list[Value] = [MISSING, *numbers("0.1", "0.3"), None, "0.2", MISSING]
    assert folded(how, Kind.FIXED, column) == text


@pytest.mark.parametrize("how", Fold)
@pytest.mark.parametrize("column", [[], [MISSING], [None, MISSING, None]], ids=["no row", "missing", "null"])
def test_no_value_is_missing_and_a_count_of_nought(how: Fold, column: list[Value]) -> None:
    assert folded(how, Kind.INT, column, missing="none") == ("     0" if how is Fold.COUNT else "  none")


def test_a_count_counts_neither_missing_nor_null() -> None:
    column: list[Value] = ["", False, *numbers("0"), [], {}, "null", None, MISSING]
    for kind in (Kind.INT, Kind.TEXT, Kind.CODE, Kind.DATE, Kind.TIME, Kind.FLAG, Kind.HEX):
        assert folded(Fold.COUNT, kind, column, width=2).strip().lstrip("0") == "6"


def test_an_unreadable_number_leaves_the_result_unknown() -> None:
    for how in (Fold.SUM, Fold.MEAN, Fold.MIN, Fold.MAX):
        for bad in ("soon", True, JsonNumber("1e9999")):
            cell = make_cell(Field("X", 4, Kind.INT), ASCII, "UTC")
            assert fold(cell, how, [*numbers("1"), bad]) == ("****", Fit.MISFIT)
    assert folded(Fold.COUNT, Kind.INT, [*numbers("1"), "soon"]) == "     2"


def test_scale_and_offset_apply_once() -> None:
    options: dict[str, Any] = {"scale": Decimal("0.1"), "offset": Decimal(1)}
    assert folded(Fold.SUM, Kind.FIXED, numbers("10", "20"), **options) == "  5.00"
    assert folded(Fold.MAX, Kind.FIXED, numbers("10", "20"), **options) == "  3.00"
    assert folded(Fold.MEAN, Kind.FIXED, numbers("10", "20"), **options) == "  2.50"
    assert folded(Fold.MIN, Kind.FIXED, numbers("10", "20"), scale=Decimal(-1)) == "-20.00"


def test_mean_rounds_half_away_from_zero_to_the_field_s_decimals() -> None:
    assert folded(Fold.MEAN, Kind.FIXED, numbers("0.01", "0")) == "  0.01"
    assert folded(Fold.MEAN, Kind.FIXED, numbers("-0.01", "0")) == " -0.01"
    assert folded(Fold.MEAN, Kind.FIXED, numbers("1", "1", "2"), decimals=3) == " 1.333"
    assert folded(Fold.MEAN, Kind.INT, numbers("1", "2")) == "     2"
    assert folded(Fold.SUM, Kind.TEXT, numbers("0.10", "0.2")) == "0.30  "


def test_extremes_of_dates_are_by_instant_and_of_text_by_order() -> None:
    moments: list[Value] = ["2024-05-01T12:00+02:00", "2024-05-01T10:30Z", "soon", "2024-05-01T09:00-01:00"]
    assert folded(Fold.MIN, Kind.TIME, moments) == "10:00 "
    assert folded(Fold.MAX, Kind.TIME, moments) == "10:30 "
    words: list[Value] = ["pier", "Ärmel", "quay", "Basin"]
    assert folded(Fold.MIN, Kind.TEXT, words) == "Armel "
    assert folded(Fold.MAX, Kind.TEXT, words) == "quay  "
    assert folded(Fold.MAX, Kind.DATE, ["soon", "later"]) == "soon  "


def test_first_and_last_are_of_the_values_that_are_there() -> None:
    column: list[Value] = [None, "pier", MISSING, "quay", None]
    assert folded(Fold.FIRST, Kind.TEXT, column) == "pier  "
    assert folded(Fold.LAST, Kind.TEXT, column) == "quay  "


@given(st.lists(st.decimals(min_value=-(10**12), max_value=10**12, allow_nan=False), min_size=1, max_size=50))
def test_sums_are_exact(column: list[Decimal]) -> None:
    exact = sum(map(Fraction, column), Fraction())
    assert Fraction(folded(Fold.SUM, Kind.TEXT, numbers(*map(str, column)), width=255).strip()) == exact
