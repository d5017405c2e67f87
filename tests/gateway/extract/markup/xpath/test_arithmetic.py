"""Arithmetic against IEEE 754 as XPath 1.0 section 3.5 has it, and against libxml2's."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from gateway.extract.markup.xpath.arithmetic import calculate

EMPTY = etree.fromstring("<r/>")


def same(left: float, right: float) -> bool:
    """Equal, NaN to NaN and with the sign of zero."""
    if math.isnan(left) or math.isnan(right):
        return math.isnan(left) and math.isnan(right)
    return left == right and math.copysign(1, left) == math.copysign(1, right)


@pytest.mark.parametrize(
    ("left", "sign", "right", "expected"),
    [
        (5, "mod", 2, 1),
        (5, "mod", -2, 1),
        (-5, "mod", 2, -1),
        (-5, "mod", -2, -1),
        (1.5, "mod", 0.5, 0),
        (1, "div", 0, math.inf),
        (-1, "div", 0, -math.inf),
        (1, "div", -0.0, -math.inf),
        (0, "div", 0, math.nan),
        (math.inf, "div", 0, math.inf),
        (math.inf, "mod", 2, math.nan),
        (5, "mod", math.inf, 5),
        (5, "mod", 0, math.nan),
        (math.nan, "mod", 2, math.nan),
        (math.inf, "-", math.inf, math.nan),
        (1e308, "*", 10, math.inf),
    ],
)
def test_ieee_754(left: float, sign: str, right: float, expected: float) -> None:
    assert same(calculate(float(left), sign, float(right)), float(expected))


@given(st.floats(), st.sampled_from(["+", "-", "*", "div", "mod"]), st.floats())
def test_same_as_libxml2(left: float, sign: str, right: float) -> None:
    theirs = etree.XPath(f"$left {sign} $right", regexp=False)(EMPTY, left=left, right=right)
    assert isinstance(theirs, float)
    ours = calculate(left, sign, right)
    assert ours == theirs or (math.isnan(ours) and math.isnan(theirs))
