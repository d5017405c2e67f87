"""Name tests against CONTRACT section 4: namespaces by URI, the root's for bare names, HTML, and `blind`."""

import pytest

from adapters.errors import PathFault
from gateway.extract.markup import Markup, compile_xpath, parse_html, parse_xml, string_value
from gateway.extract.markup.xpath.names import fits

FEED = parse_xml(
    b'<f:feed xmlns:f="http://www.w3.org/2005/Atom" xmlns:d="http://purl.org/dc/elements/1.1/"'
    b' xmlns="urn:demo:o" xmlns:g="urn:demo:g" version="1" g:version="2">'
    b'<title>other</title><f:title>right</f:title><d:title>core</d:title><g:title g:kind="q">g</g:title>'
    b'<f:pubDate>d1</f:pubDate><f:Item/><f:item/><f:link xmlns="">bare<inside>none</inside></f:link></f:feed>'
)
PLAIN = parse_xml(b'<r><title>plain</title><n:title xmlns:n="urn:demo:n">n</n:title></r>')
PAGE = parse_html(b"<HTML><Body CLASS=x xml:lang=en><P ID=one>text<o:p>odd</o:p></P></body></html>")


def pick(markup: Markup, path: str, blind: bool = False) -> list[str]:
    found = compile_xpath(path, {"g": "urn:demo:g"}).select(markup, markup, blind)
    return [string_value(each) for each in found]


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/feed/title", ["right"]),
        ("/*/atom:title", ["right"]),
        ("/feed/dc:title", ["core"]),
        ("/feed/g:title", ["g"]),
        ("/feed/*[local-name() = 'title']", ["other", "right", "core", "g"]),
        ("/feed/g:*", ["g"]),
        ("/feed/@version", ["1"]),
        ("/feed/@g:version", ["2"]),
        ("/feed/@atom:version", []),
        ("/feed/@*", ["1", "2"]),
        ("/feed/@g:*", ["2"]),
        ("/feed/link/inside", []),
        ("/feed/link/*", ["none"]),
        ("//title[not(self::dc:title)]", ["right"]),
        ("//self::title", ["right"]),
        ("/feed/pubdate", []),
        ("/feed/media:title", []),
    ],
)
def test_a_feed_with_odd_prefixes(path: str, expected: list[str]) -> None:
    assert pick(FEED, path) == expected


def test_a_root_without_a_namespace_means_none() -> None:
    assert pick(PLAIN, "//title") == ["plain"]


def test_the_sources_own_prefixes_win_over_the_known_ones() -> None:
    own = compile_xpath("string(//atom:title)", {"atom": "urn:demo:g"})
    assert own.select(FEED, FEED) == ["g"]


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/FEED/TITLE", ["right"]),
        ("/feed/PUBDATE", ["d1"]),
        ("/feed/pubdate", ["d1"]),
        ("/feed/dc:TITLE", ["core"]),
        ("/feed/@VERSION", ["1"]),
        ("/feed/@g:VERSION", ["2"]),
        ("/feed/g:title/@g:KIND", ["q"]),
        ("/feed/g:title/@KIND", []),
        ("/feed/nothing", []),
    ],
)
def test_blind(path: str, expected: list[str]) -> None:
    assert pick(FEED, path, blind=True) == expected


def test_prefixes_are_no_names_of_the_document_and_stay_as_they_are() -> None:
    with pytest.raises(PathFault, match="Unknown prefix DC"):
        pick(FEED, "/FEED/DC:title", blind=True)


def test_blind_takes_the_exact_name_first_and_no_name_of_several() -> None:
    def count(path: str) -> list[str]:
        return [str(each) for each in compile_xpath(f"count({path})").select(FEED, FEED, True)]

    assert count("//item") == ["1"]
    assert count("//Item") == ["1"]
    assert count("//ITEM") == ["0"]


def test_html_names_are_case_blind() -> None:
    for path in ("/html/body/p", "/HTML/Body/P", "//p[@id='one']", "//P[@ID='one']"):
        assert pick(PAGE, path) == ["textodd"], path
    assert pick(PAGE, "//@CLASS") == ["x"]
    assert pick(PAGE, "//@xml:lang") == ["en"]
    assert pick(PAGE, "//*[name() = 'o:p']") == ["odd"]
    assert compile_xpath("//o:P", {"o": "urn:demo:o"}).select(PAGE, PAGE) == list(PAGE.root.iter("o:p"))
    assert compile_xpath("lang('en')").select(next(PAGE.root.iter("p")), PAGE) == ["true"]


def test_patterns() -> None:
    assert fits("a", "*")
    assert fits("{urn:x}a", "{urn:x}*")
    assert fits("{urn:x}a", "{urn:x}a")
    assert not fits("{urn:xy}a", "{urn:x}*")
    assert not fits("a", "{urn:x}*")
    assert not fits("{urn:x}a", "a")
