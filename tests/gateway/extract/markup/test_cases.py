"""The reported faults under tests/cases/xml-*, and the kind behind each."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gateway.extract.markup import Markup, compile_xpath, parse_xml, string_value

CASES = Path(__file__).parents[3] / "cases"
NAMESPACES = CASES / "xml-namespace-same-meaning"
PIECES = CASES / "xml-text-in-pieces"


def values(markup: Markup, path: str) -> list[str]:
    return [string_value(each) for each in compile_xpath(path).select(markup, markup)]


@pytest.mark.parametrize("name", ["default.xml", "prefixed.xml", "odd.xml"])
@pytest.mark.parametrize("prefix", ["", "atom:"])
def test_one_feed_spelt_three_ways(name: str, prefix: str) -> None:
    expected = json.loads((NAMESPACES / "expected.json").read_text("utf-8"))[name]
    markup = parse_xml((NAMESPACES / name).read_bytes())
    assert values(markup, f"/{prefix}feed/{prefix}title") == [expected["feed_title"]]
    assert values(markup, f"//{prefix}entry/{prefix}title") == expected["entry_titles"]
    moments = [datetime.fromisoformat(each) for each in values(markup, f"//{prefix}entry/{prefix}updated")]
    assert [f"{each.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" for each in moments] == expected["updated_utc"]
    assert values(markup, "//media:title") == ["Photo caption", "Wrong one"]


@pytest.mark.parametrize("name", ["default.xml", "prefixed.xml", "odd.xml"])
def test_the_same_row_by_row(name: str) -> None:
    markup = parse_xml((NAMESPACES / name).read_bytes())
    rows = compile_xpath("/feed/entry").select(markup, markup)
    first = [compile_xpath(path).select(rows[0], markup) for path in ("title", "media:title", "dc:title")]
    assert [[string_value(each) for each in found] for found in first] == [["Lock closed"], ["Wrong one"], []]


def test_text_in_pieces() -> None:
    expected = json.loads((PIECES / "expected.json").read_text("utf-8"))["titles"]
    markup = parse_xml((PIECES / "pieces.xml").read_bytes())
    assert values(markup, "/r/title[1] | /r/title") == values(markup, "/r/title")
    rows = compile_xpath("/r/title").select(markup, markup)
    normalised = compile_xpath("normalize-space()")
    assert [normalised.select(row, markup)[0] for row in rows] == expected
    # An empty element is there, and empty.
    assert string_value(rows[-1]) == ""
    assert compile_xpath("//title[. = 'xy']").select(markup, markup) == [rows[5]]


@pytest.mark.parametrize(
    "inside",
    [
        "Tide table",
        "Tide<!-- high --> table",
        "<![CDATA[Tide table]]>",
        "Tide<![CDATA[ ta]]>ble",
        "<![CDATA[Tide]]><![CDATA[ table]]>",
        "<b>Tide</b> table",
        "Tide <i><b>ta</b></i>ble",
        "Tide<?p x?> table<!-- -->",
        "T&#105;de&#x20;table",
        "<q:b xmlns:q='urn:demo:q'>Tide table</q:b>",
    ],
)
def test_a_text_is_the_same_however_it_is_cut_up(inside: str) -> None:
    markup = parse_xml(f"<r><title>{inside}</title></r>".encode())
    assert values(markup, "//title") == ["Tide table"]
    assert values(markup, "string(//title)") == ["Tide table"]
    assert values(markup, "//title[. = 'Tide table'][contains(., 'e t')]") == ["Tide table"]
