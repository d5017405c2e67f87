"""Markup of an HTML page -> its blocks: what a reader sees of it, in reading order.

lxml's tree is walked here and not by a library: the best one found under a permissive licence (inscriptis)
knows no width, fills every table's cells up to the widest one (a page of 138 KB became a text of 200 MB in
two seconds) and brings an HTTP client along. The walk is one pass without recursion, and stops after
`limits.TEXT_ELEMENTS`.

- Hidden: head, scripts, styles, templates, drawings, form fields, and what `hidden` or `display:none` hides.
- An image is its `alt` in square brackets; without one, nothing. A frame is a link with its name or title.
- A link's number stands behind its text, or behind the first block in it where it holds several; a link
  without text shows its `title` or `aria-label`.
- A table that holds other tables, lists, headings or verbatim text is there for layout: its cells are blocks.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from lxml import etree

from adapters import limits
from gateway.extract.markup.nodes import Markup, text_of
from gateway.extract.texts.blocks import Block, Margin, Paragraph, Row, Rule, Table, Verbatim, marker
from gateway.extract.texts.links import Links
from gateway.extract.texts.tables import Span, make_rows

_HIDDEN: Final = frozenset(
    (
        *("head", "script", "style", "template", "title", "meta", "link", "base", "noframes"),
        *("svg", "iframe", "object", "audio", "video", "canvas", "datalist", "select", "input"),
    )
)
_APART: Final = frozenset(
    (
        *("p", "h1", "h2", "h3", "h4", "h5", "h6", "ul", "ol", "dl", "dir", "menu", "blockquote", "table"),
        *("pre", "listing", "xmp", "plaintext", "textarea"),
        *("figure", "fieldset", "details", "hr", "address"),
    )
)
_TOGETHER: Final = frozenset(
    (
        *("html", "body", "div", "section", "article", "header", "footer", "nav", "main", "aside", "center"),
        *("li", "dt", "dd", "tbody", "thead", "tfoot", "tr", "td", "th", "caption", "figcaption"),
        *("form", "legend", "summary", "noscript", "frame"),
    )
)
_VERBATIM: Final = frozenset(("pre", "listing", "xmp", "plaintext", "textarea"))
_LISTS: Final = frozenset(("ul", "ol", "dir", "menu"))
_MARGINS: Final = {"blockquote": "  ", "dd": "  "}
_UNDER: Final = {"h1": "=", "h2": "-"}
_NO_DATA: Final = ("table", "ul", "ol", "dl", "pre", "h1", "h2", "h3", "h4", "h5", "h6", "hr", "blockquote")
_INVISIBLE: Final = re.compile(r"display\s*:\s*none|visibility\s*:\s*hidden", re.IGNORECASE)

_BLANKED: Final = dict.fromkeys((*range(0x20), *range(0x7F, 0xA0)), " ")
_BLANKED_BUT_LINES: Final = {code: " " for code in _BLANKED if code not in {9, 10, 12, 13}}


@dataclass(slots=True)
class _Anchor:
    """An open link. `solid`: how many visible pieces there were before it; None once it has its number."""

    href: str
    label: str
    solid: int | None


@dataclass(slots=True)
class _Counter:
    """An open list: the next item's number, or None for bullets."""

    number: int | None
    step: int = 1


@dataclass(slots=True)
class _Grid:
    """An open table of data: the rows so far, and the cell that is open, if any."""

    rows: list[list[Span]]
    cell: etree._Element | None = None


class Reducer:
    """One page on its way; `blocks` can be run through once. `limited` is known after that."""

    def __init__(self, markup: Markup, url: str) -> None:
        root = markup.root
        base = next((each.get("href") for each in root.iter("base") if each.get("href")), None)
        self.links = Links(url, base)
        self.limited = False
        self._root = root
        self._pieces: list[str] = []
        self._solid = 0  # visible pieces so far
        self._apart = False
        self._under = ""
        self._verbatim = 0  # elements that are open whose blanks count
        self._margins: list[Margin] = []
        self._lists: list[_Counter] = []
        self._anchors: list[_Anchor] = []
        self._grid: _Grid | None = None
        self._done: list[Block] = []

    def blocks(self) -> Iterator[Block]:
        """The page's title, if any, and its blocks."""
        title = next((each for each in self._root.iter("title") if _names_the_page(each)), None)
        if title is not None and (text := _blanked(text_of(title))).strip():
            yield Block(Paragraph(text))
            self._apart = True
        left = limits.TEXT_ELEMENTS
        walk = etree.iterwalk(self._root, events=("start", "end"))
        for event, element in walk:
            if event == "start":
                left -= 1
                if left < 0:
                    self.limited = True
                    break
                if _is_hidden(element):
                    walk.skip_subtree()
                else:
                    self._start(element)
            else:
                if not _is_hidden(element):
                    self._end(element)
                if element.tail and element is not self._root:
                    self._add(element.tail)
            if self._done:
                yield from self._done
                self._done = []
        self._flush()
        self._end_of_table()
        yield from self._done
        self.limited = self.limited or self.links.full

    def _start(self, element: etree._Element) -> None:
        tag = element.tag
        if tag in _APART or tag in _TOGETHER:
            self._boundary(tag in _APART and not (tag in _LISTS and self._lists))
            self._open(tag, element)
        else:
            self._stand_in(tag, element)
        if element.text:
            self._add(element.text)

    def _stand_in(self, tag: str, element: etree._Element) -> None:
        """What an element within a line puts there itself."""
        match tag:
            case "br":
                self._pieces.append("\n")
            case "q":
                self._add('"')
            case "a" if element.get("href"):
                label = element.get("title") or element.get("aria-label") or ""
                self._anchors.append(_Anchor(element.get("href") or "", label, self._solid))
            case "img" | "area":
                if alt := _blanked(element.get("alt") or "").strip():
                    self._add(f"[{alt}]" if tag == "img" else alt)
                if tag == "area":
                    self._number(element.get("href") or "")

    def _open(self, tag: str, element: etree._Element) -> None:
        """What a block begins."""
        match tag:
            case "hr" if self._grid is None:
                self._put(Rule())
            case "frame":
                self._add(element.get("title") or element.get("name") or "Frame")
                self._number(element.get("src") or "")
            case "ul" | "ol" | "dir" | "menu":
                self._lists.append(_counter(element))
            case "li":
                self._margins.append(self._item(element))
            case "blockquote" | "dd":
                self._margins.append(Margin(_MARGINS[tag], _MARGINS[tag]))
            case "h1" | "h2":
                self._under = _UNDER[tag]
            case "table" if self._grid is None and next(element.iterdescendants(*_NO_DATA), None) is None:
                self._grid = _Grid([])
            case "tr" if self._grid is not None:
                self._grid.rows.append([])
            case "td" | "th" if self._grid is not None:
                self._grid.cell = element
            case _ if tag in _VERBATIM:
                self._verbatim += 1

    def _end(self, element: etree._Element) -> None:
        tag = element.tag
        if tag == "a" and element.get("href") and self._anchors:
            anchor = self._anchors.pop()
            if anchor.solid is not None:
                if anchor.solid == self._solid:
                    self._add(anchor.label)
                self._number(anchor.href)
        elif tag == "q":
            self._add('"')
        if tag not in _APART and tag not in _TOGETHER:
            return
        apart = tag in _APART and not (tag in _LISTS and len(self._lists) > 1)
        if self._grid is not None and element is self._grid.cell:
            self._end_of_cell(self._grid, element)
        self._boundary(apart)
        match tag:
            case "ul" | "ol" | "dir" | "menu" if self._lists:
                self._lists.pop()
            case "li" | "blockquote" | "dd" if self._margins:
                self._margins.pop()
            case "h1" | "h2":
                self._under = ""
            case "table":
                self._end_of_table()
                self._apart = True
            case _ if tag in _VERBATIM:
                self._verbatim -= 1

    def _add(self, text: str) -> None:
        text = text.translate(_BLANKED_BUT_LINES) if self._verbatim else _blanked(text)
        self._pieces.append(text)
        if text and not text.isspace():
            self._solid += 1

    def _number(self, href: str) -> None:
        number = self.links.number(href)
        if number is not None:
            self._pieces.append(marker(number))
            self._solid += 1

    def _boundary(self, apart: bool) -> None:
        """A block ends or begins here."""
        if self._grid is not None and self._grid.cell is not None:
            self._pieces.append("\n")  # a cell stays one
            return
        self._flush()
        self._apart = self._apart or apart

    def _flush(self) -> None:
        if not any(piece and not piece.isspace() for piece in self._pieces):
            self._pieces = []
            return
        for anchor in self._anchors:
            if anchor.solid is not None and anchor.solid < self._solid:
                anchor.solid = None
                self._number(anchor.href)
        text = "".join(self._pieces)
        self._pieces = []
        self._put(Verbatim(text.strip("\r\n")) if self._verbatim else Paragraph(text, self._under))

    def _put(self, body: Paragraph | Verbatim | Rule | Table) -> None:
        margin = Margin(
            "".join(each.first for each in self._margins), "".join(each.rest for each in self._margins)
        )
        self._done.append(Block(body, margin, self._apart))
        self._apart = False
        # What stands before an item stands there once.
        self._margins = [Margin(each.rest, each.rest) for each in self._margins]

    def _item(self, element: etree._Element) -> Margin:
        counter = self._lists[-1] if self._lists else _Counter(None)
        if counter.number is None:
            return Margin("* ", "  ")
        number = _integer(element.get("value"), counter.number)
        counter.number = number + counter.step
        first = f"{number}. "
        return Margin(first, " " * len(first))

    def _end_of_cell(self, grid: "_Grid", element: etree._Element) -> None:
        grid.cell = None
        text = "".join(self._pieces)
        self._pieces = []
        if not grid.rows:
            grid.rows.append([])
        head = element.tag == "th"
        grid.rows[-1].append(Span(text, head, element.get("colspan"), element.get("rowspan")))

    def _end_of_table(self) -> None:
        grid, self._grid = self._grid, None
        if grid is None:
            return
        rows: tuple[Row, ...] = make_rows(grid.rows)
        if any(cell.strip() for row in rows for cell in row.cells):
            self._put(Table(rows))


def _names_the_page(title: etree._Element) -> bool:
    """A drawing has titles too."""
    return next(title.iterancestors("svg"), None) is None


def _is_hidden(element: etree._Element) -> bool:
    if element.tag in _HIDDEN or element.get("hidden") is not None:
        return True
    style = element.get("style")
    return style is not None and _INVISIBLE.search(style) is not None


def _blanked(text: str) -> str:
    return text if text.isprintable() else text.translate(_BLANKED)


def _counter(element: etree._Element) -> _Counter:
    if element.tag != "ol":
        return _Counter(None)
    if element.get("reversed") is not None:
        items = sum(1 for _ in element.iterchildren("li"))
        return _Counter(_integer(element.get("start"), items), -1)
    return _Counter(_integer(element.get("start"), 1))


def _integer(text: str | None, default: int) -> int:
    text = (text or "").strip()
    plain = text.removeprefix("-")
    return int(text) if plain.isascii() and plain.isdigit() and len(plain) <= 6 else default
