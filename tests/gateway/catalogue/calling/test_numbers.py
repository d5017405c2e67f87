"""Numbers that clients type, against decimal and json."""

import json
from decimal import Decimal, InvalidOperation

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.calling.numbers import is_number, json_number
from gateway.catalogue.model import ArgKind

TYPED = st.text(st.sampled_from("+-.0123459eE _"), max_size=8)


@pytest.mark.parametrize("text", ["0", "-1", "+7", "007", "9" * 200])
def test_whole_numbers(text: str) -> None:
    assert is_number(text, ArgKind.INT)


@pytest.mark.parametrize("text", ["", "1.0", "1e3", "0x1", " 1", "1 ", "1_0", "--1", "²", "١"])
def test_what_is_no_whole_number(text: str) -> None:
    assert not is_number(text, ArgKind.INT)


@pytest.mark.parametrize("text", ["0", "1.5", "-.5", "5.", "+00.10"])
def test_fixed_numbers(text: str) -> None:
    assert is_number(text, ArgKind.FIXED)


@pytest.mark.parametrize("text", ["", ".", "1,5", "1e3", "nan", "inf", "1.2.3", "-"])
def test_what_is_no_fixed_number(text: str) -> None:
    assert not is_number(text, ArgKind.FIXED)


def test_anything_is_text() -> None:
    assert is_number("", ArgKind.TEXT)


@given(TYPED)
def test_fixed_numbers_are_decimals_without_exponents(text: str) -> None:
    """Against decimal.Decimal, which also takes exponents and underscores."""
    try:
        Decimal(text)
        known = not any(each in text for each in "eE_ ")
    except InvalidOperation:
        known = False
    assert is_number(text, ArgKind.FIXED) == known


@given(TYPED.filter(lambda text: is_number(text, ArgKind.FIXED)))
def test_json_numbers_are_the_same_number(text: str) -> None:
    written = json_number(text)
    assert json.loads(written, parse_float=Decimal, parse_int=Decimal) == Decimal(text)
    assert "." not in text or len(written.partition(".")[2]) == len(text.partition(".")[2])
