"""text -> JsonPath: parsed once, and sent on one of three routes (RFC 9535).

    route    queries                                        evaluated by
    WALK     names, indexes and wildcards only              our own loops (walk)
    LIBRARY  the same with at least one slice among them    jsonpath-ng (library)
    OWN      descendants, lists of selectors, filters       our own functions (evaluate)

Our evaluator can take every query, so it also takes what a route cannot: case-blind names, documents that
are too large for the library, and a slice after the name `*`, which the library would read as a wildcard.

Measured with tests/bench/bench_jsonpath.py (CPython 3.11, two cores, jsonpath-ng 1.16, best of seven):

    query, over 10,000 rows      route      taken      own evaluator    jsonpath-ng, from the text
    $.a.b.c (one document)       WALK       0.22 us    1.3 us           4.4 us
    $.rows[*].name               WALK       0.48 ms    1.4 ms           15 ms
    $.rows[0:10].name            LIBRARY    20 us      3.5 us           19 us
    $.rows[:5000].name           LIBRARY    3.2 ms     0.73 ms          7.8 ms
    $..name                      OWN        11 ms                       260 ms
    $.rows[*]['id','name']       OWN        3.3 ms                      23 ms
    $.rows[?@.level < 5].name    OWN        7.2 ms                      -

The library is right about every chain, so it keeps those that the walk does not take, though our evaluator
would be quicker there too; descendants are not its route because of what they cost, filters and functions
because of what they answer.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum

from adapters import limits
from adapters.errors import TooLarge
from gateway.extract.jsonpath.evaluate import evaluator
from gateway.extract.jsonpath.grammar import parse
from gateway.extract.jsonpath.library import library_walk
from gateway.extract.jsonpath.nodes import Query
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.jsonpath.walk import many_walk, plain_steps, single_walk
from gateway.extract.values import MISSING, JsonValue, Value


class Route(Enum):
    """Who evaluates a path; decided when it is compiled."""

    WALK = "walk"
    LIBRARY = "library"
    OWN = "own"


_Select = Callable[[JsonValue], list[JsonValue]]
_Find = Callable[[JsonValue], Value]


@dataclass(frozen=True, slots=True)
class JsonPath:
    """A compiled query; equal to another of the same text.

    `singular`: it selects at most one node of any document, by its form (section 2.3.5.1).
    """

    text: str
    query: Query = field(compare=False, repr=False)
    singular: bool = field(compare=False)
    route: Route = field(compare=False)
    _select: _Select = field(compare=False, repr=False)
    _select_blind: _Select = field(compare=False, repr=False)
    _first: _Find | None = field(compare=False, repr=False)

    def select(self, root: JsonValue, blind: bool = False) -> list[JsonValue]:
        """The values of all selected nodes, in the RFC's order.

        `blind`: a name that matches no member exactly matches case-blind if only one does. Raises
        TooLarge where more is looked at or selected than the limits allow.
        """
        nodes = self._select_blind(root) if blind else self._select(root)
        if len(nodes) > limits.MATCHES:
            raise TooLarge("That path selects too much")
        return nodes

    def first(self, root: JsonValue, blind: bool = False) -> Value:
        """The value of the first selected node, or MISSING; quickest for a singular path."""
        if self._first is not None and not blind:
            return self._first(root)
        nodes = self.select(root, blind)
        return nodes[0] if nodes else MISSING


def compile_jsonpath(text: str) -> JsonPath:
    """The path that the text means. Raises PathFault with the place of the mistake."""
    query = parse(text)
    own = evaluator(query)

    def select_own(root: JsonValue) -> list[JsonValue]:
        return own(Selection(root), root)

    def select_blind(root: JsonValue) -> list[JsonValue]:
        return own(Selection(root, blind=True), root)

    route = Route.OWN
    select: _Select = select_own
    first: _Find | None = None
    steps = plain_steps(query)
    library = None if steps is not None else library_walk(query)
    if steps is not None:
        route = Route.WALK
        if query.singular:
            first = single_walk(steps)
            select = _listed(first)
        else:
            select = many_walk(steps)
    elif library is not None:
        route, select = Route.LIBRARY, _with_own(library, select_own)
    return JsonPath(text, query, query.singular, route, select, select_blind, first)


def _listed(find: _Find) -> _Select:
    def select(root: JsonValue) -> list[JsonValue]:
        value = find(root)
        return [] if value is MISSING else [value]

    return select


def _with_own(library: Callable[[JsonValue], list[JsonValue] | None], own: _Select) -> _Select:
    """The library's answer, or our own where the document is too large for it."""

    def select(root: JsonValue) -> list[JsonValue]:
        nodes = library(root)
        return own(root) if nodes is None else nodes

    return select
