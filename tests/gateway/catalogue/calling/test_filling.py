"""Bodies, read back by json, urllib.parse and xml.etree."""

import json
import urllib.parse
import xml.etree.ElementTree as ET
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from adapters.errors import WrongWords
from gateway.catalogue.calling.filling import ArgValue, filled_body
from gateway.catalogue.model import ArgKind, FormBody, JsonBody, LinesBody, Number, TextBody

ARGS = st.text(st.characters(codec="utf-8"), max_size=20)


def args(value: str) -> dict[str, ArgValue]:
    return {"a": ArgValue(value), "n": ArgValue("007", ArgKind.INT), "x": ArgValue("+1.50", ArgKind.FIXED)}


@given(ARGS)
def test_json(value: str) -> None:
    table = JsonBody(
        {"{a}": "{a}", "in": ["<{a}>", {"deep": "{a}{a}"}], "n": "{n}", "text": "no {n}", "x": "{x}"}
    )
    data, media = filled_body(table, args(value), None)
    assert media == "application/json"
    assert data is not None
    assert json.loads(data) == {
        "{a}": value,
        "in": [f"<{value}>", {"deep": value * 2}],
        "n": 7,
        "text": "no 007",
        "x": 1.5,
    }
    assert b'"x":1.50' in data


def test_json_keeps_the_files_own_values() -> None:
    table = JsonBody({"t": True, "i": 10**30, "d": Number("1.10"), "e": Number("1e5"), "l": [], "o": {}})
    data, _ = filled_body(table, {}, None)
    assert data == b'{"t":true,"i":' + str(10**30).encode() + b',"d":1.10,"e":1e5,"l":[],"o":{}}'
    assert json.loads(data, parse_float=Decimal)["d"] == Decimal("1.10")


@given(ARGS)
def test_form(value: str) -> None:
    """Against urllib.parse.parse_qsl."""
    table = FormBody(
        {"a": "{a}", "k": ["new", "{a}!"], "é": "1&2=3", "n": 5, "f": False, "d": Number("1.50")}
    )
    data, media = filled_body(table, args(value), None)
    assert media == "application/x-www-form-urlencoded"
    assert data is not None
    assert urllib.parse.parse_qsl(data.decode("ascii"), keep_blank_values=True) == [
        ("a", value),
        ("k", "new"),
        ("k", value + "!"),
        ("é", "1&2=3"),
        ("n", "5"),
        ("f", "false"),
        ("d", "1.50"),
    ]


_XML_CHARACTERS = st.characters(codec="utf-8", min_codepoint=0x20, exclude_characters="\ufffe\uffff")


@given(st.text(_XML_CHARACTERS, max_size=20))
def test_xml(value: str) -> None:
    """Against xml.etree (expat)."""
    body = TextBody("<?xml version='1.0'?><o v='{a}' w=\"{a}\">{a}<i>{n}</i></o>", xml=True)
    data, media = filled_body(body, args(value), None)
    assert media == "application/xml; charset=utf-8"
    assert data is not None
    root = ET.fromstring(data)
    assert root.text == (value or None)
    assert root.attrib == {"v": value, "w": value}
    assert root.findtext("i") == "007"


@pytest.mark.parametrize("character", ["\ufffe", "\uffff", "\x00", "\x1b"])
def test_xml_has_no_such_character(character: str) -> None:
    """XML 1.0 section 2.2."""
    with pytest.raises(WrongWords):
        filled_body(TextBody("<o>{a}</o>", xml=True), args(character), None)


@given(ARGS)
def test_plain_text_is_as_it_is(value: str) -> None:
    assume("\r" not in value)
    data, media = filled_body(TextBody("<{a}>\n{n}", xml=False), args(value), None)
    assert (data, media) == (f"<{value}>\n007".encode(), "text/plain; charset=utf-8")


def test_lines() -> None:
    assert filled_body(LinesBody(), {}, b"a\nb\n") == (b"a\nb\n", "text/plain; charset=utf-8")
    assert filled_body(LinesBody(), {}, b"") == (b"", "text/plain; charset=utf-8")
    with pytest.raises(WrongWords):
        filled_body(LinesBody(), {}, None)
    for body in (None, JsonBody({})):
        with pytest.raises(WrongWords):
            filled_body(body, {}, b"x")


def test_no_body() -> None:
    assert filled_body(None, {}, None) == (None, "")
