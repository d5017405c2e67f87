"""The XPath 1.0 recommendation's examples (W3C, 16 November 1999), by section; their wording from memory."""

from collections.abc import Iterable

import pytest
from lxml import etree

from gateway.extract.markup import Markup, Node, compile_xpath, parse_xml, string_value

# A text in chapters, written for these tests: n names a node, and tells where it stands.
PARAS = "".join(f'<para n="p{number}"/>' for number in range(3, 9))
BOOK = f"""
<doc n="d" lang="en">
  <chapter n="c1"><title n="t1">Introduction</title>
    <section n="s11"><para n="q1"/></section><section n="s12"/>
    <para n="w1" type="warning"/><para n="w2" type="warning"/><para n="w3"/><para n="w4" type="warning"/>
    <para n="w5" type="warning"/><para n="w6" type="warning"/><para n="w7" type="warning"/>
  </chapter>
  <chapter n="c2"><div n="v1"><div n="v2"><para n="p1"/></div></div><para n="p2"/></chapter>
  <appendix n="x1"/><chapter n="c3">{PARAS}</chapter><chapter n="c4"><title n="t4">Ropes</title></chapter>
  <chapter n="c5"><section n="s51"/><section n="s52"/><section n="s53"/></chapter>
  <olist n="o"><item n="i1"/><item n="i2"/></olist><appendix n="x2"/>
  <employee n="e1" secretary="s"/><employee n="e2" secretary="s" assistant="a"/>
  {"".join(f'<figure n="f{number}"/>' for number in range(1, 44))}
</doc>"""


@pytest.fixture(scope="module")
def book() -> Markup:
    return parse_xml(BOOK.encode())


def element(markup: Markup, name: str) -> Node | str:
    return compile_xpath(f"//*[@n='{name}']").select(markup, markup)[0]


def names(found: Iterable[Node | str]) -> str:
    return " ".join(each.get("n", "?") if isinstance(each, etree._Element) else str(each) for each in found)


def pick(markup: Markup, context: str, path: str) -> str:
    return names(compile_xpath(path).select(element(markup, context), markup))


WARNINGS = "w1 w2 w3 w4 w5 w6 w7"

# Context node, path, what it selects.
UNABBREVIATED = [
    ("c1", "child::para", WARNINGS),
    ("c1", "child::*", f"t1 s11 s12 {WARNINGS}"),
    ("t1", "child::text()", "Introduction"),
    ("t1", "child::node()", "Introduction"),
    ("c1", "attribute::n", "c1"),
    ("w1", "attribute::*", "w1 warning"),
    ("c1", "descendant::para", f"q1 {WARNINGS}"),
    ("p1", "ancestor::div", "v1 v2"),
    ("v2", "ancestor-or-self::div", "v1 v2"),
    ("q1", "descendant-or-self::para", "q1"),
    ("q1", "self::para", "q1"),
    ("c1", "self::para", ""),
    ("d", "child::chapter/descendant::para", f"q1 {WARNINGS} p1 p2 p3 p4 p5 p6 p7 p8"),
    ("c1", "child::*/child::para", "q1"),
    ("c2", "/descendant::para", f"q1 {WARNINGS} p1 p2 p3 p4 p5 p6 p7 p8"),
    ("c2", "/descendant::olist/child::item", "i1 i2"),
    ("c1", "child::para[position()=1]", "w1"),
    ("c1", "child::para[position()=last()]", "w7"),
    ("c1", "child::para[position()=last()-1]", "w6"),
    ("c1", "child::para[position()>1]", "w2 w3 w4 w5 w6 w7"),
    ("c2", "following-sibling::chapter[position()=1]", "c3"),
    ("c4", "preceding-sibling::chapter[position()=1]", "c3"),
    ("c1", "/descendant::figure[position()=42]", "f42"),
    ("c1", "/child::doc/child::chapter[position()=5]/child::section[position()=2]", "s52"),
    ("c1", 'child::para[attribute::type="warning"]', "w1 w2 w4 w5 w6 w7"),
    ("c1", "child::para[attribute::type='warning'][position()=5]", "w6"),
    ("c1", 'child::para[position()=5][attribute::type="warning"]', "w5"),
    ("d", "child::chapter[child::title='Introduction']", "c1"),
    ("d", "child::chapter[child::title]", "c1 c4"),
    ("d", "child::*[self::chapter or self::appendix]", "c1 c2 x1 c3 c4 c5 x2"),
    ("d", "child::*[self::chapter or self::appendix][position()=last()]", "x2"),
]
ABBREVIATED = [
    ("c1", "para", WARNINGS),
    ("c1", "*", f"t1 s11 s12 {WARNINGS}"),
    ("t1", "text()", "Introduction"),
    ("c1", "@n", "c1"),
    ("w1", "@*", "w1 warning"),
    ("c1", "para[1]", "w1"),
    ("c1", "para[last()]", "w7"),
    ("c1", "*/para", "q1"),
    ("c1", "/doc/chapter[5]/section[2]", "s52"),
    ("d", "chapter//para", f"q1 {WARNINGS} p1 p2 p3 p4 p5 p6 p7 p8"),
    ("c4", "//para", f"q1 {WARNINGS} p1 p2 p3 p4 p5 p6 p7 p8"),
    ("c4", "//olist/item", "i1 i2"),
    ("c4", ".", "c4"),
    ("c2", ".//para", "p1 p2"),
    ("p1", "..", "v2"),
    ("c1", "../@lang", "en"),
    ("c1", 'para[@type="warning"]', "w1 w2 w4 w5 w6 w7"),
    ("c1", 'para[@type="warning"][5]', "w6"),
    ("c1", 'para[5][@type="warning"]', "w5"),
    ("d", 'chapter[title="Introduction"]', "c1"),
    ("d", "chapter[title]", "c1 c4"),
    ("d", "employee[@secretary and @assistant]", "e2"),
    # "does not mean the same": the first of each parent, and the first of all
    ("d", "//para[1]", "q1 w1 p1 p2 p3"),
    ("d", "/descendant::para[1]", "q1"),
]
# Section 2.4 and 3.3: the axis decides which way a place counts; parentheses make it document order.
DIRECTIONS = [
    ("p8", "preceding::*[1]", "p7"),
    ("p8", "(preceding::*)[1]", "c1"),
    ("p1", "ancestor::*[1]", "v2"),
    ("p1", "(ancestor::*)[1]", "d"),
]


@pytest.mark.parametrize(("context", "path", "expected"), UNABBREVIATED, ids=lambda text: str(text)[:40])
def test_section_2_location_paths(book: Markup, context: str, path: str, expected: str) -> None:
    assert pick(book, context, path) == expected


@pytest.mark.parametrize(("context", "path", "expected"), ABBREVIATED, ids=lambda text: str(text)[:40])
def test_section_2_5_abbreviated_syntax(book: Markup, context: str, path: str, expected: str) -> None:
    assert pick(book, context, path) == expected


@pytest.mark.parametrize(("context", "path", "expected"), DIRECTIONS)
def test_sections_2_4_and_3_3_directions(book: Markup, context: str, path: str, expected: str) -> None:
    assert pick(book, context, path) == expected


def test_the_document_node_is_a_node_of_its_own(book: Markup) -> None:
    assert compile_xpath("/").select(book, book) == [book]
    assert compile_xpath("/").select(book.root, book) == [book]
    assert compile_xpath("..").select(book.root, book) == [book]
    assert compile_xpath("doc").select(book, book) == [book.root]
    assert compile_xpath("/*").select(book, book) == [book.root]
    assert string_value(book) == string_value(book.root)
    assert "Introduction" in string_value(book)


# Section 3.5 and the functions of section 4, all with the recommendation's own results.
VALUES = [
    ("5 mod 2", "1"),
    ("5 mod -2", "1"),
    ("-5 mod 2", "-1"),
    ("-5 mod -2", "-1"),
    ('substring-before("1999/04/01","/")', "1999"),
    ('substring-after("1999/04/01","/")', "04/01"),
    ('substring-after("1999/04/01","19")', "99/04/01"),
    ('substring("12345",2,3)', "234"),
    ('substring("12345",2)', "2345"),
    ('substring("12345", 1.5, 2.6)', "234"),
    ('substring("12345", 0, 3)', "12"),
    ('substring("12345", 0 div 0, 3)', ""),
    ('substring("12345", 1, 0 div 0)', ""),
    ('substring("12345", -42, 1 div 0)', "12345"),
    ('substring("12345", -1 div 0, 1 div 0)', ""),
    ('translate("bar","abc","ABC")', "BAr"),
    ('translate("--aaa--","abc-","ABC")', "AAA"),
]


@pytest.mark.parametrize(("path", "expected"), VALUES)
def test_section_4_values(book: Markup, path: str, expected: str) -> None:
    assert compile_xpath(path).select(book, book) == [expected]


@pytest.mark.parametrize(
    ("document", "expected"),
    [
        ('<r><para xml:lang="en"/></r>', "true"),
        ('<div xml:lang="en"><para/></div>', "true"),
        ('<r><para xml:lang="EN"/></r>', "true"),
        ('<r><para xml:lang="en-us"/></r>', "true"),
        ('<r><para xml:lang="eng"/></r>', "false"),
        ('<div xml:lang="en"><para xml:lang="de"/></div>', "false"),
        ("<r><para/></r>", "false"),
    ],
)
def test_section_4_3_lang(document: str, expected: str) -> None:
    markup = parse_xml(document.encode())
    para = compile_xpath("//para").select(markup, markup)[0]
    assert compile_xpath('lang("en")').select(para, markup) == [expected]


def test_section_4_1_id() -> None:
    subset = "<!DOCTYPE r [<!ATTLIST item key ID #IMPLIED>]>"
    items = "".join(f'<item key="k{number}"><para n="{number}"/></item>' for number in range(1, 4))
    markup = parse_xml(f"{subset}<r>{items}<see>k3 k1</see><see>k2</see></r>".encode())

    def found(path: str) -> str:
        return names(compile_xpath(path).select(markup, markup))

    assert found('id("k2")/child::para') == "2"
    assert found('id("k3 k1 none")/para') == "1 3"
    assert found("id(//see)/para") == "1 2 3"
    assert found("id(//see[2])/para[position()=1]") == "2"
    assert found('id("K2")') == ""


def test_section_5_text_is_one_node_and_namespaces_are_nodes() -> None:
    markup = parse_xml(b'<r xmlns:q="urn:demo:q"><a>x<!-- no -->y<![CDATA[z]]></a></r>')
    assert compile_xpath("//a/text()").select(markup, markup) == ["xyz"]
    assert compile_xpath("count(//a/node())").select(markup, markup) == ["1"]
    assert compile_xpath("//a/namespace::q").select(markup, markup) == ["urn:demo:q"]
    assert compile_xpath("//a/namespace::q/..").select(markup, markup) == [markup.root[0]]
    assert compile_xpath("name(/r/namespace::*[. = 'urn:demo:q'])").select(markup, markup) == ["q"]
    assert compile_xpath("//comment() | //processing-instruction('x')").select(markup, markup) == []


def test_a_default_namespace_that_was_taken_away_is_no_node() -> None:
    """Namespaces in XML 1.0, section 6.2; XPath 1.0, section 5.4."""
    markup = parse_xml(b'<a xmlns="urn:demo:a"><b xmlns="" xmlns:q="urn:demo:q"/></a>')
    uris = set(compile_xpath("//*[local-name()='b']/namespace::*").select(markup, markup))
    assert uris == {"http://www.w3.org/XML/1998/namespace", "urn:demo:q"}


def test_section_4_1_namespace_uri_of_what_has_no_name_is_empty() -> None:
    markup = parse_xml(b'<a xmlns="urn:demo:a">x</a>')
    for path, uri in (("/*", "urn:demo:a"), ("/*/text()", ""), ("/", ""), ("/*/namespace::xml", "")):
        assert compile_xpath(f"namespace-uri({path})").select(markup, markup) == [uri]


@pytest.mark.parametrize(
    ("expression", "truth"),
    [
        ("//b = true()", "true"),
        ("true() = //b", "true"),
        ("//c = true()", "false"),
        ("//c = false()", "true"),
        ("//b != false()", "true"),
        ("false() != //c", "false"),
    ],
)
def test_section_3_4_a_node_set_beside_a_boolean_is_whether_it_has_nodes(expression: str, truth: str) -> None:
    markup = parse_xml(b"<a><b>false</b><b/></a>")
    assert compile_xpath(f"string({expression})").select(markup, markup) == [truth]
