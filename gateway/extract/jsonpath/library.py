"""Chains with slices, evaluated by the JSONPath library (jsonpath-ng).

Its own classes are put together from our tree, so its parser, which refuses valid queries and accepts
invalid ones, never sees a query. What is left to it are the selectors that it evaluates as RFC 9535 says:
names, indexes, wildcards and slices, one after the other. Its descendants are slow, its filters compare
numbers wrongly, and it has none of the RFC's functions.
"""

from collections.abc import Callable

from jsonpath_ng.jsonpath import DatumInContext, Fields, Index, JSONPath, Slice, Wildcard

from adapters import limits
from gateway.extract.jsonpath.nodes import (
    IndexSelector,
    NameSelector,
    Query,
    Segment,
    SliceSelector,
    WildcardSelector,
)
from gateway.extract.values import JsonValue


def library_walk(query: Query) -> Callable[[JsonValue], list[JsonValue] | None] | None:
    """A function that selects a query's nodes; None for a query that is not the library's.

    The function gives None where an array or object is so long that the library's record of each node
    (some 300 bytes) would be too much.
    """
    steps: list[JSONPath] = []
    for segment in query.segments:
        step = _step(segment)
        if step is None:
            return None
        steps.append(step)

    def walk(root: JsonValue) -> list[JsonValue] | None:
        data = [DatumInContext(root)]
        for step in steps:
            children = 0
            for datum in data:
                children += len(datum.value) if isinstance(datum.value, (dict, list)) else 0
            if children > limits.LIBRARY_NODES:
                return None
            data = [hit for datum in data for hit in step.find(datum)]
        return [datum.value for datum in data]

    return walk


def _step(segment: Segment) -> JSONPath | None:
    if segment.descendant or len(segment.selectors) != 1:
        return None
    match segment.selectors[0]:
        case NameSelector(name) if name != "*":  # which would be a wildcard there
            return Fields(name)
        case IndexSelector(index):
            return Index(index)
        case WildcardSelector():
            return Wildcard()
        case SliceSelector(start, end, step):
            # Without bounds it would take an object's members too.
            return Slice(0 if start is None and (step is None or step > 0) else start, end, step)
    return None
