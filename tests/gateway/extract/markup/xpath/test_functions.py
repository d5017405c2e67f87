"""The core library against XPath 1.0 section 4, and against libxml2's."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from gateway.extract.markup import compile_xpath, parse_html, parse_xml
from gateway.extract.markup.xpath.functions import SIGNATURES, call, normalize_space, round_half_up, substring

EMPTY = etree.fromstring("<r/>")


def test_the_library_is_the_whole_one() -> None:
    """Section 4: 4 + 3 node-set, 10 string, 5 boolean and 5 number functions."""
    assert len(SIGNATURES) == 27
    for name in SIGNATURES:
        # libxml2 knows them all, too: it complains about the argument, not the name.
        try:
            etree.XPath(f"{name}(1)", regexp=False)(EMPTY)
        except etree.XPathEvalError as fault:
            assert "Unregistered" not in str(fault), name


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        # Section 4.4: the one closest to positive infinity of two equally near ones.
        (0.5, 1),
        (-0.5, 0),
        (2.5, 3),
        (-2.5, -2),
        (-2.6, -3),
        (0.49999999999999994, 0),
        (4503599627370497.0, 4503599627370497),
        (math.inf, math.inf),
        (-math.inf, -math.inf),
    ],
)
def test_round(value: float, expected: float) -> None:
    assert round_half_up(value) == expected
    assert math.isnan(round_half_up(math.nan))


_texts = st.text(alphabet="ab \t\né\U0001f600\u00a0", max_size=8)
_numbers = st.sampled_from([-2.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0, 2.6, 9.0, math.nan, math.inf, -math.inf])


def theirs(function: str, *arguments: str | float) -> object:
    names = [f"v{place}" for place in range(len(arguments))]
    path = etree.XPath(
        f"{function}({', '.join(f'${name}' for name in names)})", smart_strings=False, regexp=False
    )
    return path(EMPTY, **dict(zip(names, arguments, strict=True)))


@pytest.mark.parametrize("name", ["concat", "starts-with", "contains", "substring-before", "substring-after"])
@given(first=_texts, second=_texts)
def test_two_texts_same_as_libxml2(name: str, first: str, second: str) -> None:
    assert call(name, [first, second]) == theirs(name, first, second)


@pytest.mark.parametrize("name", ["string", "normalize-space", "string-length", "boolean", "number"])
@given(text=_texts)
def test_one_text_same_as_libxml2(name: str, text: str) -> None:
    ours, other = call(name, [text]), theirs(name, text)
    assert ours == other or (ours != ours and other != other)


@given(_texts, st.text(alphabet="ab é", max_size=4), st.text(alphabet="xyz\U0001f600", max_size=4))
def test_translate_same_as_libxml2(text: str, old: str, new: str) -> None:
    assert call("translate", [text, old, new]) == theirs("translate", text, old, new)


@given(_texts, _numbers, _numbers)
def test_substring_same_as_libxml2(text: str, start: float, length: float) -> None:
    assert substring(text, start, length) == call("substring", [text, start, length])
    assert substring(text, start, length) == theirs("substring", text, start, length)
    assert substring(text, start) == theirs("substring", text, start)


@pytest.mark.parametrize("name", ["floor", "ceiling", "round"])
@given(value=st.floats())
def test_whole_numbers_same_as_libxml2(name: str, value: float) -> None:
    ours, other = call(name, [value]), theirs(name, value)
    assert ours == other or (ours != ours and other != other)


def test_only_the_blanks_of_xml_are_blanks() -> None:
    """Section 4.2 and XML 1.0 section 2.3."""
    assert normalize_space(" a\t\r\n b\u00a0\u2003c ") == "a b\u00a0\u2003c"


def test_names_of_nodes() -> None:
    markup = parse_xml(
        b'<p:r xmlns:p="urn:demo:p" xmlns:q="urn:demo:q" q:x="1" y="2" xml:lang="en">t<z/></p:r>'
    )

    def value(path: str) -> str | object:
        return compile_xpath(path, {"n": "urn:demo:p", "m": "urn:demo:q"}).select(markup, markup)[0]

    assert value("name(/*)") == "p:r"
    assert value("local-name(/n:r)") == "r"
    assert value("namespace-uri(/n:r)") == "urn:demo:p"
    assert value("name(//*[local-name()='z'])") == "z"
    assert value("namespace-uri(//*[name()='z'])") == ""
    assert value("name(//@m:x)") == "q:x"
    assert value("local-name(//@m:x)") == "x"
    assert value("namespace-uri(//@m:x)") == "urn:demo:q"
    assert value("name(//@y)") == "y"
    assert value("name(//@xml:lang)") == "xml:lang"
    for nameless in ("//text()", "/", "//none"):
        assert value(f"concat('[', name({nameless}), local-name({nameless}), ']')") == "[]"


@pytest.mark.parametrize("mark", ["&#1;", "\x08", "\x7f", "\ufffe", "\uffff"])
def test_id_of_what_no_name_can_be(mark: str) -> None:
    """An ID is a name (XML 1.0 section 3.3.1); a page's text may hold what no XML does (section 2.2)."""
    markup = parse_html(f"<p id=a>one</p><p id=b>a{mark} b</p><p>c{mark}</p>".encode())
    assert compile_xpath("id(//p[2])/text()").select(markup, markup) == [f"a{_read(mark)} b"]
    assert compile_xpath("id(//p[3])").select(markup, markup) == []
    assert compile_xpath(f"id('a{_read(mark)} a')").select(markup, markup) == [markup.root[0][0]]


def _read(mark: str) -> str:
    return "\x01" if mark == "&#1;" else mark


@pytest.mark.parametrize("names", [" b", "b ", "\n\tb\r", " x  b "])
def test_id_of_names_with_blanks_around_them(names: str) -> None:
    """XPath 1.0 section 4.1: tokens that blanks separate; libxml2 finds none behind a first blank."""
    markup = parse_html(b"<p id=a>one</p><p id=b>two</p>")
    assert compile_xpath(f"id('{names}')").select(markup, markup) == [markup.root[0][1]]
    assert compile_xpath("id('b\u00a0')").select(markup, markup) == []
