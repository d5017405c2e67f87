"""Numbers that keep their digits, and cost nothing to hold, whatever they say."""

from gateway.extract.values import JsonNumber


def test_a_number_is_its_literal() -> None:
    assert JsonNumber("1.10").text == "1.10"
    assert repr(JsonNumber("1.10")) == "JsonNumber('1.10')"
    assert JsonNumber("1.10") == JsonNumber("1.10")
    assert JsonNumber("1.10") != JsonNumber("1.1")
    assert len({JsonNumber("9007199254740993"), JsonNumber("9007199254740992")}) == 2


def test_a_hostile_exponent_is_only_text() -> None:
    hostile = JsonNumber("1e99999999999999999999")
    assert hostile == JsonNumber("1e99999999999999999999")
    assert hostile != JsonNumber("1e99999999999999999998")
    assert hash(hostile) == hash(JsonNumber("1e99999999999999999999"))
