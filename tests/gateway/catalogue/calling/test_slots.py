"""`{arg}` in headers and bodies."""

from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.calling.slots import fill, only_slot, slots


def test_slots_and_their_places() -> None:
    assert list(slots("a {day} {{hour}} {not this} {1x} {}")) == [("day", 3), ("hour", 10)]


def test_only_slot() -> None:
    assert only_slot("{day}") == "day"
    assert only_slot(" {day}") is None
    assert only_slot("{a}{b}") is None


def test_fill() -> None:
    assert fill("a {day} {x y}", {"day": "5"}) == "a 5 {x y}"
    assert fill("<{day}>", {"day": "&"}, lambda text: text.replace("&", "&amp;")) == "<&amp;>"


@given(st.text(), st.text())
def test_a_value_is_never_filled_again(first: str, second: str) -> None:
    assert fill("{a}|{b}", {"a": first, "b": second}) == f"{first}|{second}"
    assert fill("{a}", {"a": "{b}", "b": "x"}) == "{b}"
