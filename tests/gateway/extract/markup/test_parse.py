"""Documents, honest and hostile: XML 1.0, Namespaces in XML 1.0, the HTML Standard."""

import codecs
import time
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from adapters import limits
from adapters.errors import FarFault, TooLarge, WrongDocument
from gateway.extract.markup import Markup, compile_xpath, parse_html, parse_xml, string_value

Parse = Callable[[bytes, str | None], Markup]


def text_of(body: bytes, charset: str | None = None) -> str:
    return string_value(parse_xml(body, charset))


def refusal(body: bytes, kind: type[FarFault] = WrongDocument, parse: Parse = parse_xml) -> str:
    with pytest.raises(kind) as caught:
        parse(body, None)
    assert type(caught.value) is kind
    sentence = caught.value.sentence
    assert sentence.isascii()
    assert len(sentence) <= 40
    return sentence


# Encodings


@pytest.mark.parametrize("codec", ["utf-8", "utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be"])
@pytest.mark.parametrize("declared", ["utf-8", "iso-8859-1", "utf-16", "x-nobody-knows", "shift_jis"])
@pytest.mark.parametrize("charset", [None, "utf-8", "iso-8859-1"])
def test_with_a_byte_order_mark_no_label_matters(codec: str, declared: str, charset: str | None) -> None:
    body = f'\ufeff<?xml version="1.0" encoding="{declared}"?><a>Grüße €</a>'.encode(codec)
    assert text_of(body, charset) == "Grüße €"


@pytest.mark.parametrize(
    ("body", "charset", "expected"),
    [
        ("<a>é€</a>".encode(), None, "é€"),
        ('<?xml version="1.0" encoding="iso-8859-1"?><a>é€</a>'.encode(), None, "é€"),
        ('<?xml version="1.0" encoding="iso-8859-1"?><a>é</a>'.encode("latin-1"), None, "é"),
        ("<?xml version='1.0' encoding = 'ISO-8859-1' ?><a>\u0080</a>".encode("latin-1"), None, "€"),
        ('<?xml version="1.0" encoding="us-ascii"?><a>\u0080</a>'.encode("latin-1"), None, "€"),
        ('<?xml version="1.0" encoding="utf-8"?><a>é</a>'.encode("latin-1"), "iso-8859-1", "é"),
        ('<?xml version="1.0" encoding="iso-8859-1"?><a>é</a>'.encode("latin-1"), "utf-8", "é"),
        ('<?xml version="1.0" encoding="iso-8859-1"?><a>ж</a>'.encode("koi8-r"), "koi8-r", "ж"),
        ('<?xml version="1.0" encoding="shift_jis"?><a>港</a>'.encode("shift_jis"), None, "港"),
        ('<?xml version="1.0" encoding="x-nobody-knows"?><a>é</a>'.encode("latin-1"), None, "é"),
        ('<?xml version="1.0" encoding="utf-16"?><a>é</a>'.encode(), None, "é"),
        ('<?xml version="1.0" encoding="utf-16"?><a>é</a>'.encode("utf-16-le"), None, "é"),
        ("<a>é</a>".encode("utf-16-be"), "utf-16", "é"),
        ("<a>é</a>".encode("latin-1"), "latin1", "é"),
        ('\r\n <?xml version="1.0" encoding="iso-8859-1"?><a>é</a>'.encode("latin-1"), None, "é"),
        (codecs.BOM_UTF8 + '\n<?xml version="1.0"?><a>é</a>'.encode(), "latin1", "é"),
        ("\ufeff\ufeff<a>é</a>".encode(), None, "é"),
    ],
)
def test_encodings(body: bytes, charset: str | None, expected: str) -> None:
    """RFC 7303 section 3 for the order; XML 1.0 section 4.3.3 and appendix F; what is lenient is ours."""
    assert text_of(body, charset) == expected


def test_bytes_that_are_not_in_the_declared_encoding_are_refused() -> None:
    """XML 1.0 section 4.3.3: a fatal error."""
    assert refusal(b'<?xml version="1.0" encoding="utf-8"?><a>\xe9</a>') == "Not valid in its own encoding"
    assert refusal(b"<a>\xe9</a>") == "Not valid in its own encoding"
    assert refusal("<a>é".encode()[:-1]) == "Not valid in its own encoding"
    assert refusal(codecs.BOM_UTF16_LE + b"<\0a\0>") == "Not valid UTF-16"


# Entities and document types


def test_a_document_type_without_entities_is_fine() -> None:
    subset = b"<!ELEMENT a ANY><!ATTLIST a b CDATA 'by default'>"
    markup = parse_xml(b"<!DOCTYPE a SYSTEM 'a.dtd' [" + subset + b"]><a>&nbsp;x&eacute;</a>")
    assert string_value(markup) == "\u00a0xé"
    assert markup.root.get("b") == "by default"


LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))


@pytest.mark.parametrize(
    "body",
    [
        f'<!DOCTYPE a [<!ENTITY l0 "ha">{LAUGHS}]><a>&l9;</a>',
        f'<!DOCTYPE a [<!ENTITY l0 "ha">{LAUGHS}]><a b="&l9;"/>',
        f'<!DOCTYPE a [<!ENTITY q "{"q" * 50_000}">]><a>{"&q;" * 50_000}</a>',
        '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><a>&x;</a>',
        '<!DOCTYPE a [<!ENTITY x SYSTEM "http://127.0.0.1:9/x">]><a>&x;</a>',
        '<!DOCTYPE a [<!ENTITY % x SYSTEM "http://127.0.0.1:9/x"> %x;]><a/>',
        "<!DOCTYPE a [<!ENTITY unused 'x'>]><a/>",
    ],
    ids=["laughs", "laughs-in-attribute", "quadratic", "file", "network", "parameter", "unused"],
)
@pytest.mark.parametrize("codec", ["utf-8", "utf-16"])
def test_declared_entities_are_refused_at_once(body: str, codec: str) -> None:
    begun = time.process_time()
    assert refusal(body.encode(codec)) == "The document declares entities"
    assert time.process_time() - begun < 2


def test_defaults_of_attributes_do_not_multiply() -> None:
    default = f"<!DOCTYPE a [<!ATTLIST b c CDATA '{'x' * 100_000}'>]>"
    assert (
        refusal(f"{default}<a>{'<b/>' * 20_000}</a>".encode(), TooLarge) == "A part of the XML is too large"
    )


def test_no_text_is_ever_dropped_for_an_unknown_entity() -> None:
    for body in (b"<a>x&nope;y</a>", b"<a b='x&nope;y'/>", b"<!DOCTYPE a SYSTEM 'x'><a>x&nope;y</a>"):
        assert refusal(body) == "Entity nope is not declared"
    assert text_of(b"<!DOCTYPE a [%nope;]><a>x</a>") == "x"  # of declarations, nobody asks for them


# Well-formedness, size and depth


@pytest.mark.parametrize(
    "body",
    [
        b"<a><b></a>",
        b"<a><b>",
        b"<a>x & y</a>",
        b"<a b=c/>",
        b"<a b='1' b='2'/>",
        b"<p:a/>",
        b"<a/><b/>",
        b"<a/>text",
        b"text",
        b'{"json": true}',
        b"<a>\x01</a>",
        b"<a>&#0;</a>",
        b"<a>&#xD800;</a>",
        "<a>\ufffe</a>".encode(),
        b"<a>\0</a>",
        b"<!-- only -->",
        b"<?xml version='1.0'?>",
        b"<html><p>one<p>two</html>",
        b"<a",
        b"<",
        bytes(range(256)),
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        b"\x1f\x8b\x08\0\0\0\0\0\0\x03",
    ],
)
def test_what_is_not_well_formed_is_refused(body: bytes) -> None:
    assert refusal(body).startswith(("Not well-formed XML", "Not valid in its own encoding"))


@pytest.mark.parametrize("body", [b"", b" \r\n", codecs.BOM_UTF8, codecs.BOM_UTF16_BE])
def test_empty(body: bytes) -> None:
    assert refusal(body) == "Empty, so not XML"
    assert refusal(body, parse=parse_html) == "Empty, so not an HTML page"


def test_the_sentence_tells_the_line_and_nothing_of_the_document() -> None:
    assert refusal(b"<a>\n<secret>\n</a>") == "Not well-formed XML: line 3"


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_every_truncation_is_refused(cut: int) -> None:
    body = b"<feed><entry n='1'><title>one &amp; two</title><!-- x --><b><![CDATA[c]]></b></entry></feed>"
    parse_xml(body)
    refusal(body[:-cut])


def nested(depth: int, name: str) -> bytes:
    return f"<{name}>".encode() * depth + f"</{name}>".encode() * depth


def test_depth() -> None:
    assert parse_xml(nested(limits.DEPTH, "a")).elements == limits.DEPTH
    for depth in (limits.DEPTH + 1, 256, 257, 5_000, 300_000):
        assert refusal(nested(depth, "a")) == "Nested too deeply"
    # html and body are two levels
    assert parse_html(nested(limits.DEPTH - 2, "div")).elements == limits.DEPTH
    for depth in (limits.DEPTH - 1, 300, 300_000):
        assert refusal(nested(depth, "div"), parse=parse_html) == "Nested too deeply"
    assert refusal(b"<div>" * 300_000, parse=parse_html) == "Nested too deeply"
    assert refusal(b"<b>" * 20_000 + b"x", parse=parse_html) == "Nested too deeply"


@pytest.mark.parametrize("parse", [parse_xml, parse_html])
def test_sizes(parse: Parse, monkeypatch: pytest.MonkeyPatch) -> None:
    part = "A part of the XML is too large" if parse is parse_xml else "A part of the page is too large"
    large = "\U0001f600".encode() * 2_800_000  # 11.2 million bytes
    assert refusal(b"<p>" + large + b"</p>", TooLarge, parse) == part
    assert refusal(b"<p a='" + large + b"'></p>", TooLarge, parse) == part
    smaller = large[:8_000_000]
    assert string_value(parse(b"<p>" + smaller + b"</p>", None)) == smaller.decode()
    if parse is parse_html:
        assert refusal(b"<p>" + b"x" * limits.HTML_CHARACTERS, TooLarge, parse) == "The page is too large"
    else:
        many = b"<a b='' c = ''/>" * (limits.MARKUP_ATTRIBUTES // 2)
        assert refusal(b"<r d=''>" + many + b"</r>", TooLarge, parse) == "Too many attributes"
    monkeypatch.setattr(limits, "MARKUP_ELEMENTS", 1_000)
    assert parse(b"<r>" + b"<i/>" * 997 + b"</r>", None).elements >= 998
    for elements in (1_100, 5_000):
        assert refusal(b"<r>" + b"<i></i>" * elements + b"</r>", TooLarge, parse) == "Too many elements"
    assert refusal(b"<!-- x -->" * 4_000 + b"<r></r>", TooLarge, parse) == "Too many elements"
    monkeypatch.setattr(limits, "EXPANDED_BYTES", 1_000)
    assert refusal(b"<p>" + b"x" * 1_000 + b"</p>", TooLarge, parse) == "The document is too large"


def test_a_long_namespace_name_is_refused() -> None:
    """It is handed out with the name of every element in it."""
    for quote in (b"'", b'"'):
        for name in (b"xmlns", b"xmlns:p"):
            body = b"<r " + name + b" = " + quote + b"u" * limits.NAMESPACE_CHARACTERS + quote + b"/>"
            assert refusal(body, TooLarge) == "A namespace name is too long"
    assert parse_xml(b"<r xmlns='" + b"u" * (limits.NAMESPACE_CHARACTERS - 1) + b"'/>").namespace.startswith(
        "uuu"
    )


def test_many_open_sections_take_no_time() -> None:
    begun = time.process_time()
    for piece in (
        b"<!--",
        b"<![CDATA[",
        b"<?",
        b"<!DOCTYPE",
        b"&eacute;<!--",
        b"<!-- -->",
        b"<!DOCTYPE a [\"'",
    ):
        with pytest.raises(FarFault):
            parse_xml(piece * (2_000_000 // len(piece)))
    assert time.process_time() - begun < 20


# HTML


@pytest.mark.parametrize(
    ("body", "charset", "expected"),
    [
        ("<p>é€</p>".encode(), None, "é€"),
        ("<p>é</p>".encode("latin-1"), None, "é"),
        (b"<p>\x80</p>", None, "€"),
        ("<meta charset=koi8-r><p>ж</p>".encode("koi8-r"), None, "ж"),
        ("<meta charset=koi8-r><p>ж</p>".encode("cp1251"), "windows-1251", "ж"),
        ("<meta charset=latin1><p>é€</p>".encode(), None, "é€"),
        ("<!-- <meta charset=koi8-r> --><meta charset='windows-1251'><p>ж</p>".encode("cp1251"), None, "ж"),
        (
            '<META http-equiv="Content-Type" content="text/html; charset=Shift_JIS"><p>港</p>'.encode(
                "shift_jis"
            ),
            None,
            "港",
        ),
        ("<meta charset=utf-16><p>é</p>".encode(), None, "é"),
        ("\ufeff<meta charset=latin1><p>é</p>".encode("utf-16-be"), None, "é"),
        (b"<p>&#128;&euro;&nbsp;&eacute;&notit;</p>", None, "€€\u00a0é¬it;"),
    ],
)
def test_html_encodings_and_characters(body: bytes, charset: str | None, expected: str) -> None:
    """HTML Standard: "determining the character encoding", named references, and the table for 80h-9Fh."""
    page = parse_html(body, charset)
    assert string_value(page) == expected


def test_untidy_html_is_mended() -> None:
    page = parse_html(b"<TABLE><TR><TD>1<TD>2<TR><TD A=B>3</TABLE>tail<p>x<p>y")
    cells = compile_xpath("//tr/td").select(page, page)
    assert [string_value(cell) for cell in cells] == ["1", "2", "3"]
    assert compile_xpath("//p[2]").select(page, page) and compile_xpath("//td/@a").select(page, page) == ["B"]
    assert page.html
    assert page.namespace == ""


def test_text_without_any_tag_is_a_page() -> None:
    assert string_value(parse_html(b"down for repairs")) == "down for repairs"


@given(st.binary(max_size=60))
def test_any_bytes_are_a_document_or_refused(body: bytes) -> None:
    for parse in (parse_xml, parse_html):
        try:
            markup = parse(body, None)
        except WrongDocument:
            continue
        string_value(markup)


@given(
    st.text(alphabet="<>/&;!?-[]=\"' \n\0ab:xmlns\u00e9\ufffe\U0001f600", max_size=40),
    st.sampled_from(["utf-8", "utf-16", "latin-1"]),
)
def test_any_marks_are_a_document_or_refused(text: str, codec: str) -> None:
    body = text.encode(codec, errors="replace")
    for parse in (parse_xml, parse_html):
        for start in (b"", b"<a>", b"<!DOCTYPE a [", b"<a b='"):
            try:
                markup = parse(start + body, None)
            except (WrongDocument, TooLarge):
                continue
            assert isinstance(markup.root, etree._Element)
            assert compile_xpath("count(//* | //@* | //text())").select(markup, markup)
