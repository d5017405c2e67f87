"""bytes + what is known of them -> TextSheet: a document as lines of exactly one width (CONTRACT section 3).

HTML is reduced to its text; every other document, XML, JSON and CSV too, is shown as the plain text that it
is. Without a media type that says so, what begins like a page is HTML. Text is spelled in the client's
characters before it is wrapped, since one character may become six. Wrapped text has lost nothing, so no
record is marked as cut; `limited` says where the rest of a document was left out.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.extract.fields.text import Lettering
from gateway.extract.markup.decode import codec_of
from gateway.extract.markup.parse import html_label, parse_html_text, xml_label
from gateway.extract.plan import Record, Style
from gateway.extract.texts.blocks import (
    Block,
    Paragraph,
    Rule,
    Table,
    Verbatim,
    paragraph_lines,
    verbatim_lines,
)
from gateway.extract.texts.encoding import text_of
from gateway.extract.texts.html import Reducer
from gateway.extract.texts.plain import plain_lines
from gateway.extract.texts.tables import table_lines

_HTML_TYPES: Final = frozenset(("text/html", "application/xhtml+xml"))
_UNTOLD: Final = frozenset(("", "application/octet-stream", "application/x-unknown-content-type"))
_COMMENT: Final = re.compile(r"<!--.*?-->", re.DOTALL)
_PAGE: Final = re.compile(r"\s*<(?:!doctype\s+html|html|head|body)\b", re.IGNORECASE)
_PAGE_CHARACTERS: Final = 1_024


@dataclass(frozen=True, slots=True)
class TextSheet:
    """A document's lines, each `width` printable characters, and its links: number n is `links[n - 1]`.

    `limited`: lines, or numbers of links, were left out by a limit.
    """

    width: int
    lines: tuple[Record, ...]
    links: tuple[str, ...] = ()
    limited: bool = False


def text_records(  # noqa: PLR0917 - what is known of the document, then what is wanted of it
    body: bytes,
    media_type: str,
    charset: str | None,
    url: str,
    columns: int,
    flow: bool,
    style: Style,
    letters: Mapping[str, str] | None = None,
) -> TextSheet:
    """The text of a document in records of `columns` characters, the mark not counted.

    `media_type` is `type/subtype` in lower case, or empty; `charset` as the server named it, or None; `url`
    is the document's own, which its links are resolved against. `flow` joins the lines of a paragraph of
    plain text; HTML always flows. `letters` are the catalogue's own spellings. Raises WrongDocument for what
    is no text, or an over-deep page; TooLarge.
    """
    lettering = Lettering(style.charset, letters)
    label = charset
    maybe_html = media_type in _HTML_TYPES or media_type in _UNTOLD
    if codec_of(label) is None:
        label = (html_label(body) if maybe_html else None) or xml_label(body)
    text = text_of(body, label)
    if not (media_type in _HTML_TYPES or (media_type in _UNTOLD and _begins_like_a_page(text))):
        lines, more = _gathered(plain_lines(text, lettering, columns, flow), columns)
        return TextSheet(columns, lines, (), more)
    if not text.strip():
        return TextSheet(columns, ())
    reducer = Reducer(parse_html_text(text), url)
    lines, more = _gathered(_page_lines(reducer.blocks(), lettering, columns), columns)
    return TextSheet(columns, lines, tuple(reducer.links.found), more or reducer.limited)


def _begins_like_a_page(text: str) -> bool:
    return _PAGE.match(_COMMENT.sub("", text[:_PAGE_CHARACTERS])) is not None


def _gathered(lines: Iterator[str], width: int) -> tuple[tuple[Record, ...], bool]:
    """The records of as many lines as a text may have, and whether there are more."""
    blank = Record(" " * width)
    records: list[Record] = []
    for line in lines:
        if len(records) == limits.TEXT_LINES:
            return tuple(records), True
        records.append(Record(line.ljust(width)) if line else blank)
    return tuple(records), False


def _page_lines(blocks: Iterator[Block], lettering: Lettering, width: int) -> Iterator[str]:
    begun = False
    for block in blocks:
        margin = block.margin.within(width)
        prefix = margin.first
        apart = block.apart and begun
        for line in _block_lines(block, lettering, width - len(margin.rest)):
            if apart:
                yield ""
                apart = False
            yield (prefix + line).rstrip(" ")
            prefix = margin.rest
            begun = True


def _block_lines(block: Block, lettering: Lettering, width: int) -> Iterator[str]:
    match block.body:
        case Paragraph() as paragraph:
            return paragraph_lines(paragraph, lettering, width)
        case Verbatim() as verbatim:
            return verbatim_lines(verbatim, lettering, width)
        case Table() as table:
            return table_lines(table, lettering, width)
        case Rule():  # pragma: no branch — mypy knows that these are all
            return iter(("-" * width,))
