"""Which language a path is in (CONTRACT section 4, "Documents and rows")."""

import pytest

from adapters.errors import PathFault
from gateway.extract.jsonpath import JsonPath
from gateway.extract.markup import XmlPath
from gateway.extract.paths import OpenPath, compile_open_path, compile_path
from gateway.extract.plan import Format
from gateway.extract.table import ColumnPath


@pytest.mark.parametrize(
    ("format_", "text", "kind"),
    [
        (Format.JSON, "$.a", JsonPath),
        (Format.NDJSON, "$", JsonPath),
        (Format.XML, "/feed/entry", XmlPath),
        (Format.HTML, "//tr", XmlPath),
        (Format.CSV, "Fare, GBP", ColumnPath),
        (Format.CSV, "$", ColumnPath),
        (Format.AUTO, "$.a", JsonPath),
        (Format.AUTO, "title", OpenPath),
    ],
)
def test_the_format_or_the_dollar_tells(format_: Format, text: str, kind: type) -> None:
    path = compile_path(text, format_, {})
    assert isinstance(path, kind)
    assert path.text == text


def test_an_open_path_that_is_no_xpath_is_a_heading() -> None:
    path = compile_open_path("Price (GBP")
    assert isinstance(path, OpenPath)
    assert path.markup is None
    assert path.column.text == "Price (GBP"


def test_an_open_path_knows_the_sources_prefixes() -> None:
    path = compile_open_path("f:name", {"f": "urn:example:f"})
    assert isinstance(path, OpenPath)
    assert path.markup is not None


@pytest.mark.parametrize(
    ("format_", "text"), [(Format.AUTO, "$["), (Format.JSON, "a"), (Format.XML, "a["), (Format.XML, "x:a")]
)
def test_what_cannot_be_used_is_a_fault(format_: Format, text: str) -> None:
    with pytest.raises(PathFault):
        compile_path(text, format_, {})
