"""Entities: refused where declared (XML 1.0 section 4.2), supplied where they are HTML's, never dropped."""

from html import unescape
from html.entities import html5, name2codepoint

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from adapters.errors import WrongDocument
from gateway.extract.markup.entities import without_entities

NAMES = sorted(name[:-1] for name in html5 if name.endswith(";"))


def refusal(text: str) -> str:
    with pytest.raises(WrongDocument) as caught:
        without_entities(text)
    assert caught.value.code == 551
    assert len(caught.value.sentence) <= 40
    return caught.value.sentence


def test_every_name_of_html_in_text_and_in_an_attribute() -> None:
    """Reference: html.entities and html.unescape of the standard library (HTML Standard)."""
    assert len(NAMES) > 2_000
    for name in NAMES:
        root = etree.fromstring(without_entities(f"<a b='&{name};'>&{name};</a>"))
        assert root.text == unescape(f"&{name};") == root.get("b"), name
    # HTML 4 meant other angle brackets by these two names.
    for name, codepoint in (pair for pair in name2codepoint.items() if pair[0] not in {"lang", "rang"}):
        assert etree.fromstring(without_entities(f"<a>&{name};</a>")).text == chr(codepoint)


def test_a_name_that_means_a_mark_of_xml_does_not_make_one() -> None:
    assert without_entities("<a>&LT;b&GT;&AMP;amp;</a>") == "<a>&#60;b&#62;&#38;amp;</a>"


@pytest.mark.parametrize(
    "text",
    [
        "<a>&lt;&gt;&amp;&apos;&quot;&#233;&#xe9;</a>",
        "<a><![CDATA[&nbsp; &nope; <!ENTITY x 'y'>]]></a>",
        "<a><!-- &nbsp; &nope; --></a>",
        "<a><?x &nbsp; &nope; ?></a>",
        "<?xml version='1.0'?><!-- <!DOCTYPE a [<!ENTITY x 'y'>]> --><a/>",
        "<!DOCTYPE a><a/>",
        "<!DOCTYPE a SYSTEM 'a&b.dtd'><a/>",
        "<!DOCTYPE html PUBLIC '-//W3C//DTD XHTML 1.0 Strict//EN' 'http://www.example/x?a=1&b=2'><a/>",
        "<!DOCTYPE a [<!ELEMENT a ANY><!ATTLIST a b CDATA '1 > 0 ]'><!-- <!ENTITY x 'y'> & ' -->]><a/>",
        "<!DOCTYPE a [<?p <!ENTITY x 'y'> ' ?>]><a/>",
        "<a>x & y</a>",  # not well-formed, which is the parser's to say
        "<a>&;</a>",
    ],
)
def test_untouched(text: str) -> None:
    assert without_entities(text) == text


def test_sections_are_told_apart_when_they_stand_in_a_row() -> None:
    text = "<a><!-- ]]> &nope; -->&eacute;<![CDATA[--> &nope; <!-- ]]>&eacute;<?p <![CDATA[ ?>&eacute;</a>"
    assert without_entities(text) == text.replace("&eacute;", "&#233;")
    assert without_entities("<a><!---->&eacute;<!----></a>") == "<a><!---->&#233;<!----></a>"


@pytest.mark.parametrize(
    "subset",
    [
        "<!ENTITY x 'y'>",
        "<!ENTITY x SYSTEM 'file:///etc/passwd'>",
        "<!ENTITY % p 'q'>",
        "<!ENTITY % p SYSTEM 'http://far.example/x.dtd'> %p;",
        "<!-- ' --><!ENTITY x 'y'>",
        "<?p ]> ?><!ENTITY x 'y'>",
        "<!ELEMENT a ANY>\n<!ATTLIST a b CDATA '>]'>\n<!ENTITY\nx 'y'>",
        "<!NOTATION n SYSTEM \"]>\"><!ENTITY x SYSTEM 'y' NDATA n>",
    ],
)
def test_declared_entities_are_refused_wherever_they_hide(subset: str) -> None:
    for start in ("", "<?xml version='1.0'?>\n", "<!-- x --><?y z?> ", "\r\n"):
        for identifier in ("", " SYSTEM 'a.dtd'", ' PUBLIC "-//x//[>" "b.dtd"'):
            text = f"{start}<!DOCTYPE a{identifier} [{subset}]><a>&x;</a>"
            assert refusal(text) == "The document declares entities"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("<a>&nope;</a>", "Entity nope is not declared"),
        ("<a b='&nope;'/>", "Entity nope is not declared"),
        ("<!DOCTYPE a SYSTEM 'x.dtd'><a>&nope;</a>", "Entity nope is not declared"),
        ("<a>&NBSP;</a>", "Entity NBSP is not declared"),
        ("<a>&naïve;</a>", "Entity is not declared"),
        (f"<a>&{'x' * 200};</a>", "Entity is not declared"),
        ("<!DOCTYPE a [<!ATTLIST a b CDATA 'x&nope;y'>]><a/>", "An entity is not declared"),
        ("<a><!-- x", "The XML document stops too early"),
        ("<a><![CDATA[ &amp", "The XML document stops too early"),
        ("<!DOCTYPE a [", "The XML document stops too early"),
        ("<!DOCTYPE a SYSTEM 'x", "The XML document stops too early"),
    ],
)
def test_refusals(text: str, sentence: str) -> None:
    # A section that is not closed matters only where a name might stand in it.
    assert refusal(text if "&" in text or "DOCTYPE" in text else f"<r>&eacute;</r>{text}") == sentence


@given(
    st.lists(
        st.sampled_from(
            [
                *(
                    "<a>",
                    "</a>",
                    "text",
                    "&eacute;",
                    "&nope;",
                    "&lt;",
                    "&#233;",
                    "&",
                    ";",
                    "<!-- ",
                    " -->",
                    "<![CDATA[",
                ),
                *("]]>", "<?p ", "?>", "<!DOCTYPE a", "[", "]", ">", "<!ENTITY x 'y'>", "'", '"', "<a b='"),
            ]
        ),
        max_size=12,
    )
)
def test_what_a_parser_reads_afterwards_is_what_it_reads_with_the_names_declared(pieces: list[str]) -> None:
    """By lxml with a declaration of the one name in front, wherever that makes a well-formed document."""
    body = "<r>" + "".join(pieces) + "</r>"
    parser = etree.XMLParser(resolve_entities=True, no_network=True, remove_comments=True, remove_pis=True)
    try:
        expected = etree.fromstring(f'<!DOCTYPE r [<!ENTITY eacute "&#233;">]>{body}', parser)
    except etree.XMLSyntaxError:
        return
    if "&nope;" in etree.tostring(expected, encoding="unicode"):
        return
    found = etree.fromstring(without_entities(body), etree.XMLParser(remove_comments=True, remove_pis=True))
    assert etree.tostring(found) == etree.tostring(expected)
