"""Evaluation against libxml2's, through lxml, on generated documents and expressions of XPath 1.0."""

import pytest
from hypothesis import assume, given, settings
from lxml import etree

from adapters import limits
from gateway.extract.markup.nodes import Item, Markup
from gateway.extract.markup.parse import parse_xml
from gateway.extract.markup.xpath.compile import KNOWN_PREFIXES
from gateway.extract.markup.xpath.evaluate import Evaluation, Result
from gateway.extract.markup.xpath.grammar import parse
from tests.gateway.extract.markup.xpath.generated import documents, expressions, place

URI = "urn:demo:town"


def places(result: object) -> object:
    if isinstance(result, list):
        # lxml leaves the document node out of its results.
        return [place(item) for item in result if not isinstance(item, Markup)]
    return place(result)


def ours(markup: Markup, expression: str, node: Item) -> Result:
    return Evaluation(markup, blind=False).value(parse(expression, KNOWN_PREFIXES), node)


def check_same(document: str, theirs: str, mine: str, namespaces: dict[str, str] | None = None) -> None:
    # From an attribute libxml2 leaves out its element's children, which do follow it (XPath 1.0 section 2.2:
    # the axes partition the document; see test_axes).
    assume("following::" not in mine or not ("@" in mine or "attribute::" in mine))
    markup = parse_xml(document.encode())
    for node in [markup.root, *markup.root.iter("{*}b")][:3]:
        try:
            expected = etree.XPath(theirs, namespaces=namespaces, regexp=False)(node)
        except etree.XPathEvalError as fault:
            # Outside all predicates lxml gives a path neither a place nor a size; here both are 1.
            assume("Invalid context" not in str(fault))
            raise
        assert places(ours(markup, mine, node)) == places(expected), (mine, document)


@given(documents, expressions)
@settings(max_examples=400)
def test_same_as_libxml2_without_namespaces(document: str, expression: str) -> None:
    check_same(document.replace("~", ""), expression.replace("~", ""), expression.replace("~", ""))


@given(documents, expressions)
@settings(max_examples=150)
def test_an_unprefixed_name_means_what_a_prefixed_one_means_there(document: str, expression: str) -> None:
    """The same names stand in the document outside the namespace too, and must not be picked."""
    spelt = document.replace("~", "t:").replace("<t:c", "<c").replace("</t:c", "</c")
    spelt = spelt.replace("<t:a", f'<t:a xmlns:t="{URI}"', 1)
    check_same(spelt, expression.replace("~", "p:"), expression.replace("~", ""), {"p": URI})


_CONDITIONS = (
    *("last() = 3", "3 = last()", "last() > position()", "position() < last()", "-last() = -3"),
    *("last() != 3 or position() = 2", "last() - position() = 1", "1 = last() - position()"),
    "(a | b)[last()] = 2",
)


@pytest.mark.parametrize("condition", _CONDITIONS)
@pytest.mark.parametrize("path", ["b[{}]", "//b[{}]", "*[{}]/b", "b[b][{}]"])
def test_place_and_size_on_either_side(path: str, condition: str) -> None:
    document = "<r><b><a/><b>2</b></b><b/><a><b/><b>2</b></a><b><b>2</b></b></r>"
    text, markup = path.format(condition), parse_xml(document.encode())
    assert places(ours(markup, text, markup.root)) == places(etree.XPath(text)(markup.root))


def test_the_deepest_path_leaves_room_on_the_stack() -> None:
    markup = parse_xml(b"<a>" * limits.DEPTH + b"</a>" * limits.DEPTH)
    deepest = "a" + "[a" * limits.PATH_NESTING + "]" * limits.PATH_NESTING
    assert ours(markup, deepest, markup.root) == [markup.root[0]]
