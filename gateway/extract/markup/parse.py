"""bytes -> Markup: XML and HTML read by lxml, with everything refused that would blow up or lose text.

XML is read strictly: what is not well-formed, or declares entities, is a WrongDocument. HTML is read the way
browsers do, so that everything but an empty or over-deep page is some document.
"""

import re
from typing import Final, cast

from lxml import etree

from adapters import limits
from adapters.errors import HeadraceError, TooLarge, WrongDocument
from gateway.extract.markup.decode import decode
from gateway.extract.markup.entities import without_entities
from gateway.extract.markup.nodes import Markup, namespace_of

_DECLARED: Final = re.compile(rb"\s*<\?xml\s[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._:-]+)")
_META: Final = re.compile(rb"<meta\s[^>]*?charset\s*=\s*[\"']?\s*([A-Za-z0-9._:+-]+)", re.IGNORECASE)
_COMMENT: Final = re.compile(rb"<!--.*?-->", re.DOTALL)
_LONG_NAMESPACE: Final = re.compile(
    rf"\bxmlns(?::[^\s=\"'<>]{{1,100}})?\s*=\s*(?:\"[^\"]{{{limits.NAMESPACE_CHARACTERS}}}"
    rf"|'[^']{{{limits.NAMESPACE_CHARACTERS}}})"
)
_LABEL_BYTES: Final = 1_024  # where a document's own label must stand (HTML Standard, "prescan")
_TOO_LONG: Final = etree.ErrorTypes.ERR_RESOURCE_LIMIT

_COUNT: Final = etree.XPath("count(//*)", regexp=False, smart_strings=False)
_TOO_DEEP: Final = etree.XPath(f"boolean({'/*' * (limits.DEPTH + 1)})", regexp=False, smart_strings=False)


def parse_xml(body: bytes, charset: str | None = None) -> Markup:
    """A well-formed XML document (XML 1.0, Namespaces in XML 1.0). `charset` is HTTP's, if any.

    HTML's character names are known without a declaration; blanks and a byte order mark before the XML
    declaration are let through. Raises WrongDocument where it is not well-formed, declares entities, uses
    unknown ones, or is nested deeper than `limits.DEPTH`; TooLarge where it is larger than a limit.
    """
    _check_size(body)
    text = decode(body, (charset, xml_label(body)), strict=True).lstrip("\ufeff \t\r\n")
    if not text:
        raise WrongDocument("Empty, so not XML")
    text = without_entities(text)
    _check_marks(text)
    if text.count("=") > limits.MARKUP_ATTRIBUTES:
        raise TooLarge("Too many attributes")
    parser = etree.XMLParser(
        encoding="utf-8",  # overrides the declaration: the bytes below are ours
        resolve_entities=False,
        no_network=True,
        huge_tree=False,
        load_dtd=False,
        recover=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(text.encode("utf-8"), parser)
    except etree.XMLSyntaxError as fault:
        raise _explained(fault) from fault
    if next(root.iter(etree.Entity), None) is not None:
        raise WrongDocument("An entity is not declared")  # pragma: no cover — libxml2 refused it so far
    return _markup(root, html=False)


def parse_html(body: bytes, charset: str | None = None) -> Markup:
    """An HTML page, however untidy. `charset` is HTTP's, if any; else a meta element's counts.

    Element and attribute names are in lower case and in no namespace. Raises WrongDocument where there is
    no element at all or nesting is deeper than `limits.DEPTH`; TooLarge where a part is larger than a limit.
    """
    _check_size(body)
    return parse_html_text(decode(body, (charset, html_label(body))))


def html_label(body: bytes) -> str | None:
    """The encoding that a page's own meta element names, where there is one."""
    return _label(_META.search(_COMMENT.sub(b"", _start(body))))


def xml_label(body: bytes) -> str | None:
    """The encoding that a document's XML declaration names, where there is one."""
    return _label(_DECLARED.match(_start(body)))


def parse_html_text(text: str) -> Markup:
    """`parse_html` for a page whose characters are known already."""
    _check_marks(text)
    if len(text) > limits.HTML_CHARACTERS:
        raise TooLarge("The page is too large")
    parser = etree.HTMLParser(
        encoding="utf-8",
        no_network=True,
        huge_tree=False,
        recover=True,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root: etree._Element | None = etree.fromstring(text.encode("utf-8"), parser)
    except etree.XMLSyntaxError as fault:  # pragma: no cover — it has mended all so far, or found nothing
        raise WrongDocument("Not an HTML page") from fault
    # The parser mends what it can, but leaves out what is too large for it.
    if any(entry.type == _TOO_LONG and "depth" not in entry.message for entry in parser.error_log):
        raise TooLarge("A part of the page is too large")
    if root is None:
        raise WrongDocument("Empty, so not an HTML page")
    return _markup(root, html=True)


def _markup(root: etree._Element, html: bool) -> Markup:
    if _TOO_DEEP(root):
        raise WrongDocument("Nested too deeply")
    elements = int(cast(float, _COUNT(root)))
    if elements > limits.MARKUP_ELEMENTS:
        raise TooLarge("Too many elements")
    return Markup(root, namespace_of(str(root.tag)), html, elements)


def _check_size(body: bytes) -> None:
    if len(body) > limits.EXPANDED_BYTES:
        raise TooLarge("The document is too large")


def _check_marks(text: str) -> None:
    """Refuse, before any memory is spent on them, more tags and longer names than a document needs."""
    if text.count("<") > 2 * limits.MARKUP_ELEMENTS + 1_000:
        raise TooLarge("Too many elements")
    if _LONG_NAMESPACE.search(text):
        raise TooLarge("A namespace name is too long")


def _start(body: bytes) -> bytes:
    return body[:_LABEL_BYTES].removeprefix(b"\xef\xbb\xbf")


def _label(found: re.Match[bytes] | None) -> str | None:
    return found[1].decode("ascii") if found else None


def _explained(fault: etree.XMLSyntaxError) -> HeadraceError:
    """The error to raise for what libxml2 said; its own words may quote the document, so they stay out."""
    if getattr(fault, "code", None) == _TOO_LONG:  # the type stubs do not know it
        if "depth" in str(fault):
            return WrongDocument("Nested too deeply")
        return TooLarge("A part of the XML is too large")
    line = fault.lineno or 0
    return WrongDocument(f"Not well-formed XML: line {line}" if line else "Not well-formed XML")
