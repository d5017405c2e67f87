"""A parsed document and its nodes, as the XPath data model has them (XPath 1.0 section 5).

Elements are lxml's own objects; the document node is the Markup. lxml has no objects for attributes, text and
namespaces, so those are small tuples of the element that they hang on. Comments and processing instructions
are gone since parsing, so text on both sides of one is a single text node.
"""

from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeAlias, cast

from lxml import etree

from adapters import limits
from adapters.errors import TooLarge, TooMuchWork
from gateway.extract.effort import current

XML_NAMESPACE: Final = "http://www.w3.org/XML/1998/namespace"

_TEXT_OF: Final = etree.XPath("string()", smart_strings=False, regexp=False)
_COUNT: Final = etree.XPath("count(descendant::*)", smart_strings=False, regexp=False)


class Attribute(NamedTuple):
    """An attribute node. `name` is lxml's: `{namespace}local`, or the local name alone."""

    parent: etree._Element
    name: str
    value: str


class Text(NamedTuple):
    """A text node: before the first child of `beside`, or with `after` between it and its next sibling."""

    beside: etree._Element
    after: bool = False


class Namespace(NamedTuple):
    """A namespace node of an element."""

    parent: etree._Element
    prefix: str
    uri: str


class Loose(NamedTuple):
    """Text that belongs to no document, such as a number that was made a row."""

    value: str


class Work:
    """What may still be spent on one document: steps of paths, and characters of the values picked."""

    __slots__ = ("characters", "left")

    def __init__(self) -> None:
        self.left = current().steps
        self.characters = limits.MARKUP_CHARACTERS

    def spend(self, steps: int = 1) -> None:
        """Raises TooLarge when all is spent: a path that runs away stops here."""
        self.left -= steps
        if self.left < 0:
            raise TooMuchWork

    def hand_out(self, text: str) -> None:
        """Raises TooLarge when the texts handed out are too much together."""
        self.characters -= len(text)
        if self.characters < 0:
            raise TooLarge("The values are too large together")


class Memory:
    """What is found out about a document once, when it is first asked for."""

    __slots__ = ("attribute_names", "constants", "element_names", "order", "patterns")

    def __init__(self) -> None:
        self.element_names: frozenset[str] | None = None
        self.attribute_names: frozenset[str] | None = None
        self.order: dict[etree._Element, int] | None = None
        self.patterns: dict[tuple[int, bool, bool], tuple[object, str]] = {}
        self.constants: dict[tuple[int, bool], tuple[object, list[Item]]] = {}


@dataclass(frozen=True, slots=True, eq=False)
class Markup:
    """One XML or HTML document, and its document node.

    `namespace`: the root element's, or empty. `html`: names are case-blind, and there are no namespaces.
    `elements`: how many there are. Work on a document is counted over its whole life, so a Markup serves
    one answer.
    """

    root: etree._Element
    namespace: str
    html: bool
    elements: int
    work: Work = field(default_factory=Work)
    memory: Memory = field(default_factory=Memory)


Item: TypeAlias = etree._Element | Markup | Attribute | Text | Namespace | Loose
"""A node of any sort, within this package."""


class Piece(str):
    """The string-value of an attribute, text or namespace node that knows its node: a row can start there."""

    __slots__ = ("item",)
    item: Attribute | Text | Namespace

    def __new__(cls, value: str, item: Attribute | Text | Namespace) -> "Piece":
        """The text together with the node that it is the string-value of."""
        piece = super().__new__(cls, value)
        piece.item = item
        return piece


Node: TypeAlias = etree._Element | Markup
"""A selected node that is not text by itself: an element or the whole document."""


def string_value(node: Node | str, markup: Markup | None = None) -> str:
    """The string-value of a node (XPath 1.0 section 5): all its text in document order; a str is itself.

    With the `markup` that the node is of, TooLarge is raised where the texts asked for grow together beyond
    `limits.MARKUP_CHARACTERS`: many rows may each ask for the text of the whole document.
    """
    text = str(node) if isinstance(node, str) else text_of(node)
    if markup is not None:
        markup.work.hand_out(text)
    return text


def text_of(item: Item) -> str:
    """The string-value of a node of any sort."""
    match item:
        case etree._Element():
            return str(_TEXT_OF(item)) if len(item) else item.text or ""
        case Attribute() | Loose():
            return item.value
        case Text():
            return (item.beside.tail if item.after else item.beside.text) or ""
        case Namespace():
            return item.uri
        case Markup():  # pragma: no branch — mypy knows that these are all
            return text_of(item.root)


def namespace_of(name: str) -> str:
    """The namespace in lxml's name of an element or attribute, or empty."""
    return name[1:].partition("}")[0] if name.startswith("{") else ""


def size_of(item: Item, markup: Markup) -> int:
    """How many elements a node's descendants are, counted faster than they could be visited."""
    if item is markup or item is markup.root:
        return markup.elements
    return int(cast(float, _COUNT(item))) if isinstance(item, etree._Element) and len(item) else 0


def in_document_order(items: list[Item], markup: Markup) -> list[Item]:
    """The items sorted as they stand in the document, namespaces before attributes before children."""
    order = markup.memory.order
    if order is None:
        markup.work.spend(markup.elements)
        order = markup.memory.order = {each: place for place, each in enumerate(markup.root.iter())}
    places, ranks = order, dict[etree._Element, dict[str, int]]()

    def place(item: Item) -> tuple[int, int, int, str]:
        match item:
            case etree._Element():
                return places[item], 0, 0, ""
            case Namespace():
                return places[item.parent], 1, 0, item.prefix
            case Attribute():
                if item.parent not in ranks:
                    ranks[item.parent] = {str(name): rank for rank, name in enumerate(item.parent.keys())}
                return places[item.parent], 2, ranks[item.parent][item.name], ""
            case Text(beside, False):
                return places[beside], 3, 0, ""
            case Text(beside, True):
                # It stands behind the last descendant; of several such texts the innermost comes first.
                depth = sum(1 for _ in beside.iterancestors())
                while (last := next(beside.iterchildren(reversed=True), None)) is not None:
                    beside = last
                return places[beside], 4, -depth, ""
        return -1, 0, 0, ""

    markup.work.spend(len(items))
    return sorted(items, key=place)
