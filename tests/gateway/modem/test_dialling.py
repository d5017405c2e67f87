"""Dial strings against V.250 section 6.3.1 (digits and modifiers, from memory); names are our own choice."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.modem.dialling import DialString, dial_string

# typed, text, number
STRINGS = [
    ("5550100", "5550100", "5550100"),
    ("T5550100", "5550100", "5550100"),
    ("p 555 0100", "5550100", "5550100"),
    ("T(555) 01-00", "(555)01-00", "5550100"),
    ("+15550100", "+15550100", "+15550100"),
    ("T0,5550100", "05550100", "05550100"),
    ("T0W5550100", "0W5550100", "05550100"),
    ("T0w!5550100@", "0w5550100", "05550100"),
    ("P0T555", "0T555", "0555"),
    ("*70#1A", "*70#1A", "*70#1A"),
    ("harbour", "harbour", ""),
    ("Tharbour", "harbour", ""),
    ("Ttower", "tower", ""),
    ("tower", "ower", ""),
    ("THarbour", "Harbour", ""),
    ("Tquay.example:2323", "quay.example:2323", ""),
    ("T 127.0.0.1:23", "127.0.0.1:23", ""),
    ("T[::1]:23", "[::1]:23", ""),
    ("TPAT", "PAT", ""),
    ("TW3", "W3", "3"),
    ("Tlamp-2", "lamp-2", ""),
    ("TBAD", "BAD", ""),
    ("T+", "+", ""),
    ("", "", ""),
    ("T", "", ""),
    (" ,@", "", ""),
]


@pytest.mark.parametrize(("typed", "text", "number"), STRINGS)
def test_strings(typed: str, text: str, number: str) -> None:
    found = dial_string(typed)
    assert (found.text, found.number) == (text, number)


def test_modifiers() -> None:
    assert dial_string("T,,harbour,").pauses == 3
    assert dial_string("harbour@").quiet_wanted
    assert not dial_string("harbour").quiet_wanted
    assert dial_string("0W555").tone_wanted
    assert not dial_string("wharf").tone_wanted
    assert not dial_string("0555").tone_wanted


def test_parts_are_one_string() -> None:
    whole = dial_string("T0,W").joined(dial_string("T555@"))
    assert whole == DialString("0W555", 1, True)
    assert whole.number == "0555"
    assert whole.tone_wanted


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40))
def test_nothing_is_lost_but_modifiers_and_blanks(typed: str) -> None:
    found = dial_string(f"T{typed}")
    assert found.text == "".join(each for each in typed if each not in " ,!@")
    assert set(found.number) <= set("0123456789*#+ABCD")
    assert [each for each in found.number if each.isdigit()] in (
        [],
        [each for each in found.text if each.isdigit()],
    )
