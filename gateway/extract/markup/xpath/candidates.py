"""Location step + nodes -> the nodes that its axis and node test select, before any predicate.

(XPath 1.0 sections 2.1 to 2.3.) Every node looked at is counted. Where lxml can search by name itself, it
does; that costs a fraction, and is counted as one.
"""

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from typing import Final

from lxml import etree

from gateway.extract.markup.nodes import Attribute, Item, Markup, Namespace, Text, size_of
from gateway.extract.markup.xpath.axes import CONVERGING, REVERSE, along, element_siblings, parent_of
from gateway.extract.markup.xpath.names import fits, pattern
from gateway.extract.markup.xpath.syntax import NameTest, Step, TypeTest

FAST_NODES: Final = 16
"""Nodes that lxml walks over in the time that one costs here."""

_DESCENDANTS: Final = frozenset(("descendant", "descendant-or-self"))
_DOWNWARD: Final = _DESCENDANTS | {"child"}
_ALREADY_ORDERED: Final = frozenset(("self", "attribute", "namespace"))
_TREE_NODES: Final = (etree._Element, Markup, Text)


class Candidates:
    """The candidates of steps in one document. `blind`: see `names`."""

    __slots__ = ("_blind", "_markup", "_work")

    def __init__(self, markup: Markup, blind: bool) -> None:
        self._markup = markup
        self._blind = blind
        self._work = markup.work

    def of_one(self, step: Step, context: Item) -> list[Item]:
        """From one node, in the axis's own order."""
        found = self._search(step, context)
        if found is None:
            return list(self._walk(step, context))
        items = list(found)
        self._work.spend(len(items))
        return items

    def lazily(self, step: Step, context: Item) -> Iterator[Item]:
        """The same one by one, for who needs only the first few."""
        found = self._search(step, context)
        return self._walk(step, context) if found is None else self._counted(found)

    def of_all(self, step: Step, contexts: list[Item]) -> list[Item]:
        """From several nodes, each once, in no particular order."""
        if step.axis in CONVERGING:
            return list(self._converging(step, contexts))
        if step.axis in _DESCENDANTS and _are_tree_nodes(contexts):
            contexts = self._outermost(contexts)
        return list(dict.fromkeys(item for each in contexts for item in self.of_one(step, each)))

    def keeps_order(self, axis: str, contexts: list[Item]) -> bool:
        """Whether what an axis gives for one context after the other is in document order, as they are."""
        if axis in _ALREADY_ORDERED:
            return True
        # Downward, the nodes of one context all stand before those of the next, unless that is inside it.
        return axis in _DOWNWARD and _are_tree_nodes(contexts) and self._are_apart(contexts)

    def _walk(self, step: Step, context: Item) -> Iterator[Item]:
        passes, work = self._node_test(step), self._work
        items = element_siblings(step.axis, context) if isinstance(step.test, NameTest) else None
        for item in along(step.axis, context, self._markup) if items is None else items:
            work.left -= 1  # spend() without the call, in the innermost loop
            if work.left < 0:
                work.spend()
            if passes(item):
                yield item

    def _converging(self, step: Step, contexts: list[Item]) -> Iterator[Item]:
        passes = self._node_test(step)
        seen: set[Item] = set()
        for context in reversed(contexts) if step.axis in REVERSE else contexts:
            for item in self._counted(along(step.axis, context, self._markup)):
                if item in seen:
                    break
                seen.add(item)
                if passes(item):
                    yield item

    def _counted(self, items: Iterable[Item]) -> Iterator[Item]:
        for item in items:
            self._work.spend()
            yield item

    def _search(self, step: Step, context: Item) -> Iterable[Item] | None:
        """lxml's own search; None where it has none for such a step."""
        test, axis = step.test, step.axis
        if isinstance(test, TypeTest):
            return self._parents(context) if test.type == "parent" else None
        if isinstance(context, Markup):
            return self._below(context.root.iter, test, context) if axis == "descendant" else None
        if not isinstance(context, etree._Element):
            return None
        match axis:
            case "child":
                self._work.spend(len(context) // FAST_NODES)
                return context.iterchildren(self._pattern(test))
            case "descendant":
                return self._below(context.iterdescendants, test, context)
            case "descendant-or-self":
                return self._below(context.iter, test, context)
            case "attribute" if test.local != "*":
                name = self._pattern(test, attribute=True)
                value = context.get(name)
                return () if value is None else (Attribute(context, name, value),)
        return None

    def _below(
        self, search: Callable[[str], Iterable[Item]], test: NameTest, context: etree._Element | Markup
    ) -> Iterable[Item]:
        self._work.spend(size_of(context, self._markup) // FAST_NODES)
        return search(self._pattern(test))

    def _parents(self, context: Item) -> Iterable[Item] | None:
        """The node and its descendants, as far as they may have children."""
        if not isinstance(context, (etree._Element, Markup)):
            return None
        self._work.spend(size_of(context, self._markup) // FAST_NODES)
        return (context, *context.root.iter("*")) if isinstance(context, Markup) else context.iter("*")

    def _pattern(self, test: NameTest, attribute: bool = False) -> str:
        return pattern(test, attribute, self._markup, self._blind)

    def _node_test(self, step: Step) -> Callable[[Item], bool]:
        """The node test as a function; a name test passes only nodes of the axis's own sort."""
        test = step.test
        if isinstance(test, TypeTest):
            return _TYPE_TESTS.get(test.type, lambda _: False)
        if step.axis == "namespace":
            names = {test.local} if test.prefix is None else set()
            return lambda item: isinstance(item, Namespace) and (test == _ANY_NAME or item.prefix in names)
        wanted = self._pattern(test, attribute=step.axis == "attribute")
        if step.axis == "attribute":
            return lambda item: isinstance(item, Attribute) and fits(item.name, wanted)
        return lambda item: isinstance(item, etree._Element) and fits(str(item.tag), wanted)

    def _outermost(self, contexts: list[Item]) -> list[Item]:
        """The contexts without those inside others; they are tree nodes in document order."""
        kept: list[Item] = []
        inside: set[Item] = set()  # the last one kept, and those in it
        for context in contexts:
            if not kept or not self._is_inside(context, inside, kept[-1]):
                kept.append(context)
                inside.clear()
            inside.add(context)
        return kept

    def _are_apart(self, contexts: list[Item]) -> bool:
        """Whether none is inside another one; if any is, some is inside the one before it."""
        return not any(self._is_inside(inner, {outer}, outer) for outer, inner in pairwise(contexts))

    def _is_inside(self, inner: Item, outers: set[Item], outer: Item) -> bool:
        """Whether a node is a descendant of any of the outers, whose topmost is `outer`."""
        beside = parent_of(outer, self._markup)  # neighbours are told without a climb to the root
        item = parent_of(inner, self._markup)
        while item is not None and item is not beside:
            self._work.spend()
            if item in outers:
                return True
            item = parent_of(item, self._markup)
        return False


_ANY_NAME: Final = NameTest(None, "*")

_TYPE_TESTS: Final[dict[str, Callable[[Item], bool]]] = {
    "node": lambda _: True,
    "text": lambda item: not isinstance(item, (etree._Element, Markup, Attribute, Namespace)),
    "parent": lambda item: isinstance(item, (etree._Element, Markup)),
}


def _are_tree_nodes(items: list[Item]) -> bool:
    """Whether none of them is an attribute or a namespace, whose element's children stand behind it."""
    return all(isinstance(each, _TREE_NODES) for each in items)
