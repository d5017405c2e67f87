"""Where values stand in documents."""

from dataclasses import replace

import pytest

from gateway.drift.places import EACH, Document, Place, below, last_name, places
from gateway.extract.plan import Format
from gateway.extract.values import JsonNumber
from tests.gateway.drift.documents import CSV, CSV_PLAN, JSON_PLAN, TIDES, XML, XML_PLAN, document, plan


def test_in_json() -> None:
    found = places(document({**TIDES, "odd 'name\\": [1, [2]], "none": {}}), JSON_PLAN)
    assert found.leaves["tides", EACH, "time"] == ["06:57", "13:21", "19:34"]
    assert found.leaves["station",] == ["Mole"]
    assert found.leaves["none",] == [{}]
    assert found.leaves["odd 'name\\", EACH, EACH] == [JsonNumber("2")]
    assert found.lists["tides",] == 3
    assert found.row_place(JSON_PLAN) == ("tides", EACH)
    assert found.path(("odd 'name\\", EACH, "x1")) == "$['odd \\'name\\\\'][*].x1"
    assert found.rows(("tides",)) == "$.tides[*]"


def test_in_xml() -> None:
    found = places(document(XML), XML_PLAN)
    tide = ("harbour", "tides", "tide")
    assert found.leaves[(*tide, "@time")] == ["06:57", "13:21"]
    assert found.leaves[(*tide, "kind")] == ["high", "low"]
    assert found.row_place(XML_PLAN) == tide
    assert found.path(("kind", "@x")) == "kind/@x"


def test_a_markup_document_whose_root_is_the_row() -> None:
    found = places(document(XML), replace(XML_PLAN, rows=None))
    assert found.row_place(replace(XML_PLAN, rows=None)) == ()


def test_in_lines_of_json() -> None:
    lines = Document(b'{"time": "06:57"}\n{"time": "13:21"}\n')
    found = places(lines, plan("$[*]", ("TIME", "$.time"), format_=Format.NDJSON))
    assert found.leaves == {(EACH, "time"): ["06:57", "13:21"]}


def test_in_csv() -> None:
    found = places(document(CSV), CSV_PLAN)
    assert found.leaves == {
        ("time",): ["06:57", "13:21"],
        ("kind",): ["high", "low"],
        ("metres",): ["3.10", "1.01"],
    }
    assert found.row_place(CSV_PLAN) == ()


def test_very_deep_documents_end() -> None:
    value: object = 1
    for _ in range(90):
        value = {"a": value}
    assert max(map(len, places(document(value), JSON_PLAN).leaves)) == 60


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("$.tides[0].height", "height"),
        ("$['odd name']", "name"),
        ("a/b/@c", "c"),
        ("td[2]", "td"),
        ("$", "$"),
    ],
)
def test_last_names(text: str, name: str) -> None:
    assert last_name(text) == name


@pytest.mark.parametrize(
    ("place", "prefix", "rest"), [(("a", "b"), ("a",), ("b",)), (("a",), ("b",), None), (("a",), (), ("a",))]
)
def test_below(place: Place, prefix: Place, rest: Place | None) -> None:
    assert below(place, prefix) == rest
