"""String-values and document order against XPath 1.0 section 5, and against libxml2's."""

import pytest
from hypothesis import given
from lxml import etree

from adapters import limits
from adapters.errors import TooLarge
from gateway.extract.markup import parse_html, parse_xml, string_value
from gateway.extract.markup.nodes import (
    Attribute,
    Loose,
    Namespace,
    Piece,
    Text,
    namespace_of,
    size_of,
    text_of,
)
from tests.gateway.extract.markup.xpath.generated import documents


@given(documents)
def test_same_string_values_as_libxml2(document: str) -> None:
    markup = parse_xml(document.replace("~", "").encode())
    for element in markup.root.iter():
        assert string_value(element) == text_of(element) == element.xpath("string()")
        assert string_value(element) == "".join(str(piece) for piece in element.itertext())
        inside = sum(1 for _ in element.iterdescendants())
        assert size_of(element, markup) == (markup.elements if element is markup.root else inside)
    assert string_value(markup) == string_value(markup.root)
    assert size_of(markup, markup) == markup.elements == sum(1 for _ in markup.root.iter())


def test_other_nodes() -> None:
    root = etree.fromstring("<r x='1'>one<a/>two</r>")
    assert text_of(Text(root)) == "one"
    assert text_of(Text(root[0], True)) == "two"
    assert text_of(Text(root[0])) == ""
    assert text_of(Attribute(root, "x", "1")) == "1"
    assert text_of(Namespace(root, "p", "urn:demo:p")) == "urn:demo:p"
    assert text_of(Loose("loose")) == "loose"
    assert size_of(Loose("loose"), parse_xml(b"<r/>")) == 0


def test_a_piece_is_a_str_that_knows_its_node() -> None:
    root = etree.fromstring("<r x='1'/>")
    piece = Piece("1", Attribute(root, "x", "1"))
    assert piece == "1"
    assert piece.item == Attribute(root, "x", "1")
    assert type(string_value(piece)) is str


def test_html_has_string_values_too() -> None:
    page = parse_html(b"<p>one <b>two<!-- no --></b><?php no ?> three<br>four")
    assert string_value(page) == "one two threefour"


def test_values_are_bounded_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MARKUP_CHARACTERS", 100)
    markup = parse_xml(b"<r><a>" + b"x" * 40 + b"</a></r>")
    for node in (markup, markup.root[0]):
        assert len(string_value(node, markup)) == 40
    assert len(string_value(markup.root)) == 40
    with pytest.raises(TooLarge, match="The values are too large together"):
        string_value(markup.root, markup)


def test_namespace_of() -> None:
    assert namespace_of("{urn:demo:a}b") == "urn:demo:a"
    assert namespace_of("b") == ""
