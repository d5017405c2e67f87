"""XML, HTML and XPath: two lines of paths, then a document; any bytes.

Invariant: WrongDocument, TooLarge and PathFault are all that is raised, a PathFault's place is in its path; a
path selects the same nodes as libxml2's evaluator selects by it; and each record of the sheet is as wide as
the plan says, printable, and as long again on the line.
"""

from collections.abc import Iterator
from typing import Final

from lxml import etree

from adapters.errors import PathFault, TooLarge, WrongDocument
from gateway.extract.markup import Markup, XmlPath, compile_xpath, parse_html, parse_xml
from gateway.extract.markup.nodes import Item, Namespace
from gateway.extract.markup.xpath.compile import KNOWN_PREFIXES
from gateway.extract.markup.xpath.evaluate import Evaluation
from gateway.extract.markup.xpath.grammar import parse
from gateway.extract.plan import Field, Format, Kind, Plan
from tests.fuzz.inputs import behind, case_files, first_line, literals, parted
from tests.fuzz.laid_out import check_laid_out
from tests.gateway.extract.markup.xpath.generated import place

_LABELS: Final = (None, "iso-8859-1", "utf-16", "windows-1252", "no such charset")
_PLAIN: Final = b"<a x='1' y='2'>one<b n='3'>two<c/>three</b><b>four</b><c>5</c></a>"
_LATIN: Final = b"<?xml version='1.0' encoding='iso-8859-1'?><a x='\xe9'>\xfc</a>"


def _path(text: str) -> XmlPath | None:
    try:
        return compile_xpath(text)
    except PathFault as fault:
        assert 0 <= fault.position <= len(text)
        assert fault.sentence.isascii()
        return None


def _check_as_libxml2_does(text: str, body: bytes, markup: Markup) -> None:
    """Where both evaluate the path and mean the same by it."""
    if markup.namespace or markup.html or "following::" in text or "namespace" in text:
        return
    if ":" in text.replace("::", ""):
        return
    if b"<!" in body or b"<?" in body or b"&" in body:  # lxml keeps the text around a comment in two nodes
        return
    try:
        theirs = etree.XPath(text, namespaces=KNOWN_PREFIXES, regexp=False)(markup.root)
    except (etree.XPathError, ValueError):  # lxml takes no text with control characters in it
        return
    try:
        ours = Evaluation(markup, blind=False).value(parse(text, KNOWN_PREFIXES), markup.root)
    except TooLarge:
        return
    if isinstance(ours, list) and isinstance(theirs, list):
        mine: list[Item] = [each for each in ours if not isinstance(each, Markup | Namespace)]
        assert list(map(place, mine)) == list(map(place, theirs)), text
    elif isinstance(ours, bool):
        assert ours is theirs


def check(data: bytes) -> None:
    """See the module's text."""
    options, rest = parted(data, 4)
    form, label = (Format.HTML if options[0] % 2 else Format.XML), _LABELS[options[0] // 2 % 5]
    rows, rest = first_line(rest)
    at, body = first_line(rest)
    paths = _path(rows), _path(at)
    try:
        markup = (parse_html if form is Format.HTML else parse_xml)(body, label)
    except (WrongDocument, TooLarge) as error:
        assert error.sentence.isascii()
    else:
        if paths[0] is not None:
            _check_as_libxml2_does(rows, body, markup)
    if at and paths[1] is None:
        return
    kind = tuple(Kind)[options[2] % len(Kind)]
    field = Field("VALUE", 1 + options[1] % 60, kind, () if paths[1] is None else (paths[1],))
    plan = Plan((field, Field("WHOLE", 3)), form, paths[0], blind=options[3] & 1 == 1)
    check_laid_out(body, "", label, plan, options[3] >> 4)


def seeds() -> Iterator[bytes]:
    """The paths and documents of the tests, and the cases."""
    options = [bytes((number % 10, number * 11 % 60, number % 8, number % 256)) for number in range(256)]
    folder = "gateway/extract/markup"
    written = list(literals(folder))
    paths = [each for each in written if b"<" not in each and b"\n" not in each and len(each) < 100]
    yield from behind(options, (b"%s\nstring(.)\n%s" % (each, _PLAIN) for each in paths))
    documents = [*(each for each in written if b"<" in each), *case_files("xml-*/*.xml"), _LATIN]
    yield from behind(options, (b"//*\n.\n" + each for each in documents))
