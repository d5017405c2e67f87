"""Parameters against V.250 sections 6.2 and 6.3: ranges and defaults from memory."""

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import WrongWords
from gateway.modem.parameters import PARAMETERS, Parameters, changed, value_of

# name, lowest, highest, default. The defaults of L, S7 and S10 are the maker's.
RECOMMENDED = [
    ("E", 0, 1, 1),
    ("Q", 0, 1, 0),
    ("V", 0, 1, 1),
    ("X", 0, 4, 4),
    ("L", 0, 3, None),
    ("M", 0, 2, 1),
    ("&C", 0, 1, 1),
    ("&D", 0, 2, 2),
    ("S0", 0, 255, 0),
    ("S3", 0, 127, 13),
    ("S4", 0, 127, 10),
    ("S5", 0, 127, 8),
    ("S6", 2, 10, 2),
    ("S7", 1, 255, None),
    ("S8", 0, 255, 2),
    ("S10", 1, 254, None),
]


@pytest.mark.parametrize(("name", "lowest", "highest", "default"), RECOMMENDED)
def test_ranges_and_defaults(name: str, lowest: int, highest: int, default: int | None) -> None:
    plain = Parameters()
    for value in (lowest, highest):
        assert value_of(changed(plain, name, value), name) == value
    for value in (lowest - 1, highest + 1):
        with pytest.raises(WrongWords):
            changed(plain, name, value)
    assert default is None or value_of(plain, name) == default
    assert lowest <= value_of(plain, name) <= highest


def test_there_are_no_others() -> None:
    assert set(PARAMETERS) == {name for name, *_ in RECOMMENDED}


@given(st.sampled_from(sorted(PARAMETERS)), st.integers(0, 255))
def test_one_is_set_and_the_others_stay(name: str, value: int) -> None:
    plain = Parameters()
    parameter = PARAMETERS[name]
    if not parameter.lowest <= value <= parameter.highest:
        return
    after = changed(plain, name, value)
    differ = {
        each.name for each in fields(Parameters) if getattr(after, each.name) != getattr(plain, each.name)
    }
    assert differ <= {parameter.field}


@pytest.mark.parametrize("name", ["S1", "S2", "S9", "S12", "N", "&K", ""])
def test_what_the_recommendation_does_not_have(name: str) -> None:
    with pytest.raises(WrongWords):
        changed(Parameters(), name, 0)
    with pytest.raises(WrongWords):
        value_of(Parameters(), name)
