"""A node -> the nodes on one of its axes, in that axis's order (XPath 1.0 section 2.2).

All are generators, so that who wants the first sibling does not pay for the last.
"""

from collections.abc import Callable, Iterator
from typing import Final

from lxml import etree

from gateway.extract.markup.nodes import XML_NAMESPACE, Attribute, Item, Markup, Namespace, Text

REVERSE: Final = frozenset(("ancestor", "ancestor-or-self", "preceding", "preceding-sibling"))

# From a node on one of these, all further ones are on it for any other node that it is on it for. So the axes
# of many nodes can be joined by walking each only up to where another has been.
CONVERGING: Final = REVERSE | {"following", "following-sibling"}


def along(axis: str, item: Item, markup: Markup) -> Iterator[Item]:
    """The nodes on an axis, nearest first on reverse axes, in document order on the others."""
    return _AXES[axis](item, markup)


def element_siblings(axis: str, item: Item) -> "Iterator[etree._Element] | None":
    """The elements alone on an axis of siblings; None for other axes, and from other nodes than elements."""
    if axis == "following-sibling" and isinstance(item, etree._Element):
        return item.itersiblings()
    if axis == "preceding-sibling" and isinstance(item, etree._Element):
        return item.itersiblings(preceding=True)
    return None


def parent_of(item: Item, markup: Markup) -> "etree._Element | Markup | None":
    """The parent node; None for the document itself, and for what belongs to none."""
    match item:
        case etree._Element():
            parent = item.getparent()
        case Attribute() | Namespace():
            return item.parent
        case Text():
            return item.beside.getparent() if item.after else item.beside
        case _:
            return None
    return markup if parent is None else parent


def _itself(item: Item, _markup: Markup) -> Iterator[Item]:
    yield item


def _parent(item: Item, markup: Markup) -> Iterator[Item]:
    parent = parent_of(item, markup)
    if parent is not None:
        yield parent


def _ancestors(item: Item, markup: Markup) -> Iterator[Item]:
    parent = parent_of(item, markup)
    while parent is not None:
        yield parent
        parent = parent_of(parent, markup)


def _children(item: Item, _markup: Markup) -> Iterator[Item]:
    if isinstance(item, Markup):
        yield item.root
    elif isinstance(item, etree._Element):
        if item.text:
            yield Text(item)
        for child in item:
            yield child
            if child.tail:
                yield Text(child, True)


def _descendants(item: Item, markup: Markup) -> Iterator[Item]:
    """Without recursion, since a generator inside a generator is resumed level by level."""
    if isinstance(item, Markup):
        yield item.root
        item = item.root
    if not isinstance(item, etree._Element):
        return
    if item.text:
        yield Text(item)
    open_elements = [iter(item)]
    inside: list[etree._Element] = []
    while open_elements:
        child = next(open_elements[-1], None)
        if child is not None:
            yield child
            if child.text:
                yield Text(child)
            open_elements.append(iter(child))
            inside.append(child)
            continue
        open_elements.pop()
        if inside and (closed := inside.pop()).tail:
            yield Text(closed, True)


def _descendants_backwards(element: etree._Element) -> Iterator[Item]:
    open_elements = [element.iterchildren(reversed=True)]
    inside = [element]
    while open_elements:
        child = next(open_elements[-1], None)
        if child is not None:
            if child.tail:
                yield Text(child, True)
            open_elements.append(child.iterchildren(reversed=True))
            inside.append(child)
            continue
        open_elements.pop()
        closed = inside.pop()
        if closed.text:
            yield Text(closed)
        if inside:
            yield closed


def _following_siblings(item: Item, _markup: Markup) -> Iterator[Item]:
    match item:
        case etree._Element():
            if item.tail:
                yield Text(item, True)
            siblings = item.itersiblings()
        case Text(beside, False):
            siblings = beside.iterchildren()
        case Text(beside, True):
            siblings = beside.itersiblings()
        case _:
            return
    for sibling in siblings:
        yield sibling
        if sibling.tail:
            yield Text(sibling, True)


def _preceding_siblings(item: Item, _markup: Markup) -> Iterator[Item]:
    match item:
        case etree._Element():
            element = item
        case Text(element, True):
            yield element
        case _:
            return
    for sibling in element.itersiblings(preceding=True):
        if sibling.tail:
            yield Text(sibling, True)
        yield sibling
    parent = element.getparent()
    if parent is not None and parent.text:
        yield Text(parent)


def _following(item: Item, markup: Markup) -> Iterator[Item]:
    if isinstance(item, (Attribute, Namespace)):
        # An element's children stand behind its attributes, and are no descendants of those.
        yield from _descendants(item.parent, markup)
        item = item.parent
    while not isinstance(item, Markup):
        for sibling in _following_siblings(item, markup):
            yield sibling
            yield from _descendants(sibling, markup)
        parent = parent_of(item, markup)
        if parent is None:
            return
        item = parent


def _preceding(item: Item, markup: Markup) -> Iterator[Item]:
    if isinstance(item, (Attribute, Namespace)):
        item = item.parent
    while not isinstance(item, Markup):
        for sibling in _preceding_siblings(item, markup):
            if isinstance(sibling, etree._Element):
                yield from _descendants_backwards(sibling)
            yield sibling
        parent = parent_of(item, markup)
        if parent is None:
            return
        item = parent


def _attributes(item: Item, _markup: Markup) -> Iterator[Item]:
    if isinstance(item, etree._Element):
        for name, value in item.attrib.items():
            yield Attribute(item, str(name), str(value))


def _namespaces(item: Item, _markup: Markup) -> Iterator[Item]:
    if isinstance(item, etree._Element):
        yield Namespace(item, "xml", XML_NAMESPACE)
        for prefix, uri in sorted(item.nsmap.items(), key=lambda pair: pair[0] or ""):
            if uri:  # an empty one only takes the default away
                yield Namespace(item, prefix or "", uri)


def _or_self(axis: Callable[[Item, Markup], Iterator[Item]]) -> Callable[[Item, Markup], Iterator[Item]]:
    def walk(item: Item, markup: Markup) -> Iterator[Item]:
        yield item
        yield from axis(item, markup)

    return walk


_AXES: Final[dict[str, Callable[[Item, Markup], Iterator[Item]]]] = {
    "ancestor": _ancestors,
    "ancestor-or-self": _or_self(_ancestors),
    "attribute": _attributes,
    "child": _children,
    "descendant": _descendants,
    "descendant-or-self": _or_self(_descendants),
    "following": _following,
    "following-sibling": _following_siblings,
    "namespace": _namespaces,
    "parent": _parent,
    "preceding": _preceding,
    "preceding-sibling": _preceding_siblings,
    "self": _itself,
}
