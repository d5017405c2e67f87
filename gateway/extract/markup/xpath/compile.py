"""XPath text -> XmlPath, which picks from parsed documents.

Deviations from XPath 1.0, all of them the contract's or the parser's: an unprefixed element name means the
root element's namespace; there are no variables; comments and processing instructions are gone since parsing,
so tests for them select nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from lxml import etree

from adapters import limits
from adapters.errors import TooLarge
from gateway.extract.markup.nodes import XML_NAMESPACE, Item, Loose, Markup, Node, Piece, text_of
from gateway.extract.markup.xpath.evaluate import Evaluation
from gateway.extract.markup.xpath.grammar import parse
from gateway.extract.markup.xpath.syntax import Expression
from gateway.extract.markup.xpath.values import to_string

KNOWN_PREFIXES: Final = {
    "atom": "http://www.w3.org/2005/Atom",  # RFC 4287 section 1.2
    "content": "http://purl.org/rss/1.0/modules/content/",  # RSS 1.0 modules, from memory
    "dc": "http://purl.org/dc/elements/1.1/",  # Dublin Core element set 1.1, from memory
    "media": "http://search.yahoo.com/mrss/",  # the name that Media RSS gave itself, from memory
}
"""Prefixes that need no declaration in a source."""


@dataclass(frozen=True, slots=True)
class XmlPath:
    """A compiled XPath 1.0."""

    text: str
    _expression: Expression = field(repr=False)

    def select(self, node: Node | str, markup: Markup, blind: bool = False) -> list[Node | str]:
        """What the path picks, starting at `node`, in document order.

        Elements, and the document, come as nodes; attributes, text, numbers and booleans as str. `node` may
        be anything that was selected before from the same Markup; a path from the Markup itself starts at
        the document, above the root element. `blind`: a name that the document does not have is taken for
        the one that differs from it only in case, if there is just one. Raises TooLarge for more than
        `limits.MATCHES`, or where the work on the document exceeds `limits.MARKUP_STEPS`.
        """
        value = Evaluation(markup, blind).value(self._expression, _item_of(node))
        if not isinstance(value, list):
            return [to_string(value)]
        if len(value) > limits.MATCHES:
            raise TooLarge("The path selects too much")
        return [_handed_out(item) for item in value]


def compile_xpath(text: str, namespaces: Mapping[str, str] | None = None) -> XmlPath:
    """The path that the text is. `namespaces`: prefix -> URI, beside and before the known ones.

    Raises PathFault, with the place, for whatever can be known to be wrong without a document.
    """
    return _compiled(text, frozenset((namespaces or {}).items()))


@lru_cache(maxsize=512)
def _compiled(text: str, namespaces: frozenset[tuple[str, str]]) -> XmlPath:
    return XmlPath(text, parse(text, {**KNOWN_PREFIXES, **dict(namespaces), "xml": XML_NAMESPACE}))


def _item_of(node: Node | str) -> Item:
    if isinstance(node, Piece):
        return node.item
    return Loose(node) if isinstance(node, str) else node


def _handed_out(item: Item) -> Node | str:
    match item:
        case etree._Element() | Markup():
            return item
        case Loose(value):
            return value
        case _:
            return Piece(text_of(item), item)
