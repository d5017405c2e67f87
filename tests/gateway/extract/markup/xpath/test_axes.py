"""The axes against XPath 1.0 section 2.2, on generated documents."""

from hypothesis import given
from lxml import etree

from gateway.extract.markup import Markup, parse_xml
from gateway.extract.markup.nodes import Attribute, Item, Loose, Namespace, Text, in_document_order
from gateway.extract.markup.xpath.axes import REVERSE, along, element_siblings, parent_of
from tests.gateway.extract.markup.xpath.generated import AXES, documents

SMALL = b'<r p="1" q="2">one<a x="3">two<b/>three</a>four<a/>five</r>'


def tree(markup: Markup) -> list[Item]:
    return [markup, *along("descendant", markup, markup)]


def everything(markup: Markup) -> list[Item]:
    items: list[Item] = []
    for item in tree(markup):
        items += [item, *along("namespace", item, markup), *along("attribute", item, markup)]
    return items


def shown(item: Item) -> str:
    match item:
        case Markup():
            return "/"
        case etree._Element():
            return str(item.tag)
        case Text():
            return repr((item.beside.tail if item.after else item.beside.text) or "")
        case Attribute(_, name, _):
            return f"@{name}"
        case Namespace(_, prefix, _):
            return f"xmlns:{prefix}"
        case Loose(value):
            return value


def names(axis: str, item: Item, markup: Markup) -> str:
    return " ".join(map(shown, along(axis, item, markup)))


def test_a_small_document_by_hand() -> None:
    markup = parse_xml(SMALL)
    root = markup.root
    first, second = root
    inner = first[0]
    assert names("child", root, markup) == "'one' a 'four' a 'five'"
    assert names("descendant", markup, markup) == "r 'one' a 'two' b 'three' 'four' a 'five'"
    assert names("descendant-or-self", inner, markup) == "b"
    assert names("attribute", root, markup) == "@p @q"
    assert names("namespace", root, markup) == "xmlns:xml"
    assert names("ancestor", inner, markup) == "a r /"
    assert names("ancestor-or-self", Text(inner, True), markup) == "'three' a r /"
    assert names("parent", Text(inner, True), markup) == "a"
    assert names("parent", Text(first), markup) == "a"
    assert names("parent", root, markup) == "/"
    assert names("parent", markup, markup) == ""
    assert names("following-sibling", first, markup) == "'four' a 'five'"
    assert names("following-sibling", Text(root), markup) == "a 'four' a 'five'"
    assert names("following-sibling", Text(first, True), markup) == "a 'five'"
    assert names("preceding-sibling", second, markup) == "'four' a 'one'"
    assert names("preceding-sibling", Text(first, True), markup) == "a 'one'"
    assert names("preceding-sibling", Text(root), markup) == ""
    assert names("following", inner, markup) == "'three' 'four' a 'five'"
    assert names("preceding", second, markup) == "'four' 'three' b 'two' a 'one'"
    attribute = next(along("attribute", first, markup))
    assert names("following", attribute, markup) == "'two' b 'three' 'four' a 'five'"
    assert names("preceding", attribute, markup) == "'one'"
    assert names("self", attribute, markup) == "@x"
    assert names("ancestor", attribute, markup) == "a r /"
    assert names("following-sibling", attribute, markup) == ""
    for axis in AXES:
        assert names(axis, Loose("loose"), markup) == ("loose" if axis.endswith("self") else "")


@given(documents)
def test_five_axes_divide_the_document_without_overlap(document: str) -> None:
    """Section 2.2: ancestor, descendant, following, preceding and self partition it, attributes apart."""
    markup = parse_xml(document.replace("~", "").encode())
    whole = tree(markup)
    for item in everything(markup):
        parts = [
            each
            for axis in ("ancestor", "descendant", "following", "preceding")
            for each in along(axis, item, markup)
        ]
        if not isinstance(item, (Attribute, Namespace)):
            parts.append(item)
        assert len(parts) == len(whole)
        assert set(parts) == set(whole)


@given(documents)
def test_every_axis_is_in_its_own_order(document: str) -> None:
    markup = parse_xml(document.replace("~", "").encode())
    whole = everything(markup)
    assert in_document_order(whole[::-1], markup) == whole
    for item in whole:
        for axis in (*AXES, "namespace"):
            found = list(along(axis, item, markup))
            assert in_document_order(found, markup) == (found[::-1] if axis in REVERSE else found)


@given(documents)
def test_siblings_are_the_parents_other_children(document: str) -> None:
    markup = parse_xml(document.replace("~", "").encode())
    for item in tree(markup)[1:]:
        parent = parent_of(item, markup)
        assert parent is not None
        before = list(along("preceding-sibling", item, markup))[::-1]
        after = list(along("following-sibling", item, markup))
        assert [*before, item, *after] == list(along("child", parent, markup))
        for axis, all_of_them in (("preceding-sibling", before[::-1]), ("following-sibling", after)):
            elements = element_siblings(axis, item)
            if elements is not None:
                assert list(elements) == [each for each in all_of_them if isinstance(each, etree._Element)]
            else:
                assert isinstance(item, Text)
    assert element_siblings("child", markup.root) is None
