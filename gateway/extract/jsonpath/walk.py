"""Plain paths, walked directly: names, indexes and wildcards, one after the other.

`$.a.b[3]` and `$.items[*].name` are nearly all paths of a catalogue. Every step leads one level down and
reaches no node twice, so such a walk looks at no more than the document holds.
"""

from collections.abc import Callable
from enum import Enum
from typing import Final

from gateway.extract.effort import current
from gateway.extract.jsonpath.nodes import IndexSelector, NameSelector, Query, WildcardSelector
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.values import MISSING, JsonValue, Value


class _Every(Enum):
    """The step of a wildcard."""

    CHILD = "*"


EVERY: Final = _Every.CHILD

Step = str | int | _Every


def plain_steps(query: Query) -> tuple[Step, ...] | None:
    """The steps of a plain path; None where the query is more than that."""
    steps: list[Step] = []
    for segment in query.segments:
        if segment.descendant or len(segment.selectors) != 1:
            return None
        match segment.selectors[0]:
            case NameSelector(name):
                steps.append(name)
            case IndexSelector(index):
                steps.append(index)
            case WildcardSelector():
                steps.append(EVERY)
            case _:
                return None
    return tuple(steps)


def single_walk(steps: tuple[Step, ...]) -> Callable[[JsonValue], Value]:
    """A walk without wildcards: node -> the one value, or MISSING."""

    def walk(node: JsonValue) -> Value:
        for step in steps:
            if isinstance(node, dict):
                if isinstance(step, str) and step in node:
                    node = node[step]
                    continue
            elif isinstance(node, list) and isinstance(step, int) and -len(node) <= step < len(node):
                node = node[step]
                continue
            return MISSING
        return node

    return walk


def blind_walk(steps: tuple[Step, ...]) -> Callable[[Selection, JsonValue], Value]:
    """The same, but a name that is not there matches case-blind if only one member does."""

    def walk(selection: Selection, node: JsonValue) -> Value:
        here: Value = node
        for step in steps:
            if isinstance(here, dict) and isinstance(step, str):
                here = here[step] if step in here else selection.blind_member(here, step)
            elif isinstance(here, list) and isinstance(step, int) and -len(here) <= step < len(here):
                here = here[step]
            else:
                return MISSING
        return here

    return walk


def many_walk(steps: tuple[Step, ...]) -> Callable[[JsonValue], list[JsonValue]]:
    """A walk with wildcards: node -> all values, in document order."""

    def walk(node: JsonValue) -> list[JsonValue]:
        nodes, effort = [node], current()
        for step in steps:
            if isinstance(step, str):
                nodes = [here[step] for here in nodes if isinstance(here, dict) and step in here]
            elif isinstance(step, int):
                nodes = [
                    here[step] for here in nodes if isinstance(here, list) and -len(here) <= step < len(here)
                ]
            else:
                nodes = [
                    child
                    for here in nodes
                    if isinstance(here, (dict, list))
                    for child in (here.values() if isinstance(here, dict) else here)
                ]
                effort.look(len(nodes))
        return nodes

    return walk
