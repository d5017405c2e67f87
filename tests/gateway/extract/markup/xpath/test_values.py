"""Conversions and comparisons against XPath 1.0 sections 3.4 and 4.2 to 4.4, and against libxml2's."""

import itertools
import math
import re
from typing import TypeAlias

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from gateway.extract.markup.xpath.values import equal, number_text, ordered, to_boolean, to_number, to_string


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        # Section 4.2, string()
        (math.nan, "NaN"),
        (0.0, "0"),
        (-0.0, "0"),
        (math.inf, "Infinity"),
        (-math.inf, "-Infinity"),
        (7.0, "7"),
        (-7.0, "-7"),
        (0.5, "0.5"),
        (-0.5, "-0.5"),
        # No exponent, whatever the size.
        (3e9, "3000000000"),
        (1e23, "1" + "0" * 23),
        (1e-7, "0.0000001"),
        (-1.5e-9, "-0.0000000015"),
        (123456789012345.67, "123456789012345.67"),
    ],
)
def test_numbers_as_text(value: float, expected: str) -> None:
    assert number_text(value) == to_string(value) == expected


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_as_text_is_decimal_and_tells_it_apart(value: float) -> None:
    text = number_text(value)
    assert re.fullmatch(r"-?[0-9]+(\.[0-9]*[1-9])?", text)
    assert float(text) == to_number(text) == value


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1", 1.0),
        (" \t\r\n-1.50 ", -1.5),
        (".5", 0.5),
        ("1.", 1.0),
        ("007", 7.0),
        ("-.5", -0.5),
        *[
            (text, math.nan)
            for text in ("", " ", "+1", "1e5", "1 2", "- 1", ".", "-", "0x10", "NaN", "Infinity")
        ],
        *[(text, math.nan) for text in ("1,000", "\u00a01", "١", "1\u2028", "--1")],
    ],
)
def test_text_as_number(text: str, expected: float) -> None:
    value = to_number(text)
    assert value == expected or (math.isnan(value) and math.isnan(expected))


def test_booleans() -> None:
    assert [to_boolean(each) for each in (0.0, -0.0, math.nan, 0.1, math.inf, "", "false", "0")] == [
        *(False, False, False, True, True, False, True, True)
    ]
    assert [to_number(each) for each in (True, False)] == [1.0, 0.0]
    assert [to_string(each) for each in (True, False)] == ["true", "false"]


_texts = st.sampled_from(["", "1", "2", "1.0", "-1", "x", "true", " 1 "])
_operands = st.one_of(
    _texts,
    st.booleans(),
    st.sampled_from([0.0, 1.0, 2.0, -1.0, math.nan, math.inf]),
    st.lists(_texts, max_size=4),
)


Operand: TypeAlias = str | bool | float | list[str]

_SIGNS = ["=", "!=", "<", "<=", ">", ">="]
_KINDS: list[Operand] = ["1", "x", True, False, 1.0, math.nan, [], ["1"], ["2", "x"]]


@pytest.mark.parametrize("sign", _SIGNS)
def test_each_kind_beside_each_other_one(sign: str) -> None:
    for left, right in itertools.product(_KINDS, repeat=2):
        same_as_libxml2(left, sign, right)


@given(_operands, st.sampled_from(_SIGNS), _operands)
def test_comparison_same_as_libxml2(left: Operand, sign: str, right: Operand) -> None:
    same_as_libxml2(left, sign, right)


def same_as_libxml2(left: Operand, sign: str, right: Operand) -> None:
    """Node-sets are made from elements; the other operands are handed over as variables."""
    root = etree.Element("r")
    texts: dict[str, str | bool | float] = {}
    sides = []
    for name, operand in (("left", left), ("right", right)):
        if isinstance(operand, list):
            for text in operand:
                etree.SubElement(root, name).text = text
            sides.append(name)
        else:
            texts[name] = operand
            sides.append(f"${name}")
    theirs = etree.XPath(f"{sides[0]} {sign} {sides[1]}", regexp=False)(root, **texts)
    ours = equal(left, right, sign == "=") if sign in {"=", "!="} else ordered(left, right, sign)
    assert ours is theirs, (left, sign, right)
