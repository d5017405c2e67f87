"""XmlPath: what select() hands out and takes back, with every kind of result (XPath 1.0 section 1)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from adapters.errors import PathFault, TooLarge
from gateway.extract.markup import Markup, Node, XmlPath, compile_xpath, parse_xml, string_value
from gateway.extract.markup.xpath.compile import KNOWN_PREFIXES
from gateway.extract.plan import Path
from tests.gateway.extract.markup.xpath.generated import documents, expressions

SHIPS = parse_xml(
    b'<ships><ship id="A1" at="north,pier"><name>Aurora</name><tons>1250.50</tons></ship>'
    b'<ship id="B2"><name>Brig</name>late</ship></ships>'
)


def select(path: str, node: Node | str = SHIPS, blind: bool = False) -> list[Node | str]:
    return compile_xpath(path).select(node, SHIPS, blind)


def test_a_compiled_path_is_a_plans_path() -> None:
    path: Path = compile_xpath("//ship")
    assert path.text == "//ship"
    assert isinstance(path, XmlPath)
    assert compile_xpath("//ship") is path


def test_what_is_handed_out() -> None:
    first, second = SHIPS.root
    assert select("//ship") == [first, second]
    assert select("//@id") == ["A1", "B2"]
    assert select("//ship/text()") == ["late"]
    assert select("count(//ship)") == ["2"]
    assert select("sum(//tons)") == ["1250.5"]
    assert select("string(//tons)") == ["1250.50"]
    assert select("1 div 0") == ["Infinity"]
    assert select("number('x')") == ["NaN"]
    assert select("0.1 + 0.2") == ["0.30000000000000004"]
    assert select("100000 * 100000") == ["10000000000"]
    assert select("concat(100000 * 100000, '')") == ["10000000000"]
    assert select("1 > 2") == ["false"]
    assert select("//name = 'Brig'") == ["true"]
    assert select("//none") == []
    assert select("string(//none)") == [""]


def test_an_element_row_is_where_paths_start() -> None:
    _, second = select("//ship")
    assert select("name", second) == [SHIPS.root[1][0]]
    assert select("@id", second) == ["B2"]
    assert select(".", second) == [second]
    assert select("../ship[1]/@id", second) == ["A1"]
    assert select("/ships/ship[1]/@id", second) == ["A1"]
    assert string_value(second) == "Briglate"


def test_an_attribute_or_a_text_can_be_a_row() -> None:
    place = select("//@at")[0]
    assert place == string_value(place) == "north,pier"
    assert type(string_value(place)) is str
    assert select(".", place) == ["north,pier"]
    assert select("substring-before(., ',')", place) == ["north"]
    assert select("../name", place) == [SHIPS.root[0][0]]
    assert select("name()", place) == ["at"]
    assert select("../@id", place) == ["A1"]
    late = select("//ship/text()")[0]
    assert select("preceding-sibling::name", late) == [SHIPS.root[1][0]]
    assert select("..", late) == [SHIPS.root[1]]


def test_a_number_can_be_a_row_of_no_document() -> None:
    (row,) = select("count(//ship)")
    assert select(".", row) == ["2"]
    assert select(". * 3", row) == ["6"]
    assert select("..", row) == []
    assert select("//@id", row) == ["A1", "B2"]


def test_the_document_is_where_the_first_path_starts() -> None:
    assert select("ships/ship/@id") == ["A1", "B2"]
    assert select("ship/@id") == []
    assert select("ship/@id", SHIPS.root) == ["A1", "B2"]


def test_faults_come_when_compiling() -> None:
    with pytest.raises(PathFault) as caught:
        compile_xpath("//ship[@id = $wanted]")
    assert (caught.value.sentence, caught.value.position, caught.value.code) == (
        *("Variables are not known here", 13),
        501,
    )
    with pytest.raises(PathFault, match=r"Unknown function test\(\)"):
        compile_xpath("//a[re:test(., 'x')]")
    assert "re" not in KNOWN_PREFIXES


def test_absolute_paths_are_worked_out_once_and_stay_right_for_other_documents() -> None:
    path = compile_xpath("count(//ship[//ship/@id = 'B2'])")
    other = parse_xml(b"<ships><ship id='B2'/></ships>")
    for _ in range(2):
        assert path.select(SHIPS, SHIPS) == ["2"]
        assert path.select(other, other) == ["1"]


@given(documents, expressions, st.booleans())
def test_whatever_is_selected_is_sound(document: str, expression: str, blind: bool) -> None:
    """Nodes in document order and once each; str of no other type than str says; nothing else is raised."""
    markup = parse_xml(document.replace("~", "").encode())
    path = compile_xpath(expression.replace("~", ""))
    try:
        found = path.select(markup, markup, blind)
    except TooLarge:
        return
    order = {each: place for place, each in enumerate([markup, *markup.root.iter()])}
    elements = [each for each in found if isinstance(each, (etree._Element, Markup))]
    places = [order[each] for each in elements]
    assert places == sorted(set(places))
    assert all(isinstance(each, str) for each in found if each not in elements)
    for each in found:
        assert select_self(each, markup) == [each]


def select_self(node: Node | str, markup: Markup) -> list[Node | str]:
    return compile_xpath(".").select(node, markup)
