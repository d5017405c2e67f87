"""Query -> an evaluator of our own, for every query there is (RFC 9535 sections 2.1 to 2.5).

The tree is turned into functions once, when the path is compiled. Nodes come in the RFC's order: segment by
segment, selector by selector, children as the document has them, a descendant after its parents. Documents
may be as deep as they like: nothing recurses into them. `Selection.look` counts what is looked at.
"""

from collections.abc import Callable, Sequence
from typing import TypeAlias

from gateway.extract.jsonpath.compare import holds
from gateway.extract.jsonpath.i_regexp import translate
from gateway.extract.jsonpath.nodes import (
    Comparison,
    Either,
    Every,
    Exists,
    FilterSelector,
    FunctionCall,
    IndexSelector,
    Literal,
    NameSelector,
    Not,
    Operand,
    Query,
    Segment,
    Selector,
    SliceSelector,
    Test,
    WildcardSelector,
)
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.jsonpath.walk import blind_walk, plain_steps, single_walk
from gateway.extract.values import MISSING, JsonNumber, JsonValue, Value

Nodes: TypeAlias = Callable[[Selection, JsonValue], list[JsonValue]]
Select: TypeAlias = Callable[[Selection, JsonValue], Sequence[JsonValue]]
Check: TypeAlias = Callable[[Selection, JsonValue], bool]
Find: TypeAlias = Callable[[Selection, JsonValue], Value]


def evaluator(query: Query) -> Nodes:
    """The function that selects a query's nodes, from the root or from the node it is given."""
    segments = tuple(_segment(segment) for segment in query.segments)
    absolute = query.absolute

    def select(selection: Selection, node: JsonValue) -> list[JsonValue]:
        nodes = [selection.root if absolute else node]
        for segment in segments:
            nodes = segment(selection, nodes)
            if not nodes:
                break
        return nodes

    return select


# Segments and selectors


def _segment(segment: Segment) -> Callable[[Selection, list[JsonValue]], list[JsonValue]]:
    selectors = tuple(_selector(selector) for selector in segment.selectors)
    only = selectors[0] if len(selectors) == 1 else None
    descendant = segment.descendant

    def select(selection: Selection, nodes: list[JsonValue]) -> list[JsonValue]:
        if descendant:
            nodes = [child for node in nodes for child in selection.containers(node)]
        if only is not None:
            return [hit for node in nodes for hit in only(selection, node)]
        return [hit for node in nodes for each in selectors for hit in each(selection, node)]

    return select


def _selector(selector: Selector) -> Select:
    match selector:
        case NameSelector(name):
            return _name(name)
        case IndexSelector(index):
            return _index(index)
        case SliceSelector(start, end, step):
            return _slice(slice(start, end, step))
        case WildcardSelector():
            return _children
        case FilterSelector(test):  # pragma: no branch — mypy knows that these are all
            return _filter(_check(test))


def _name(name: str) -> Select:
    def select(selection: Selection, node: JsonValue) -> Sequence[JsonValue]:
        selection.look(1)
        if not isinstance(node, dict):
            return ()
        if name in node:
            return (node[name],)
        member = selection.blind_member(node, name) if selection.blind else MISSING
        return () if member is MISSING else (member,)

    return select


def _index(index: int) -> Select:
    def select(selection: Selection, node: JsonValue) -> Sequence[JsonValue]:
        selection.look(1)
        if isinstance(node, list) and -len(node) <= index < len(node):
            return (node[index],)
        return ()

    return select


def _slice(wanted: slice) -> Select:
    """Python's slices take the same elements as section 2.3.4.2.2; only a step of 0 is an error there."""

    def select(selection: Selection, node: JsonValue) -> Sequence[JsonValue]:
        if not isinstance(node, list) or wanted.step == 0:
            return ()
        found = node[wanted]
        selection.look(len(found) + 1)
        return found

    return select


def _children(selection: Selection, node: JsonValue) -> Sequence[JsonValue]:
    if isinstance(node, dict):
        selection.look(len(node))
        return tuple(node.values())
    if isinstance(node, list):
        selection.look(len(node))
        return node
    return ()


def _filter(check: Check) -> Select:
    def select(selection: Selection, node: JsonValue) -> Sequence[JsonValue]:
        return [child for child in _children(selection, node) if check(selection, child)]

    return select


# Tests


def _check(test: Test) -> Check:
    match test:
        case Comparison(left, operator, right):
            return _comparison(_operand(left), operator, _operand(right))
        case Exists(Query() as query):
            return _existence(query)
        case Exists(FunctionCall() as call):
            return _pattern_check(call)
        case Not(inner):
            return _negation(_check(inner))
        case Every(tests):
            return _joined(tuple(_check(each) for each in tests), decisive=False)
        case Either(tests):
            return _joined(tuple(_check(each) for each in tests), decisive=True)
    raise AssertionError("an unknown test")  # pragma: no cover — these are all, which mypy does not see


def _comparison(left: Find, operator: str, right: Find) -> Check:
    def check(selection: Selection, node: JsonValue) -> bool:
        return holds(operator, left(selection, node), right(selection, node), selection.look)

    return check


def _existence(query: Query) -> Check:
    if query.singular:
        find = _single(query)
        return lambda selection, node: find(selection, node) is not MISSING
    nodes = _nodes(query)
    return lambda selection, node: bool(nodes(selection, node))


def _negation(inner: Check) -> Check:
    return lambda selection, node: not inner(selection, node)


def _joined(checks: tuple[Check, ...], *, decisive: bool) -> Check:
    """Tests from left to right, until one is `decisive`."""

    def check(selection: Selection, node: JsonValue) -> bool:
        for each in checks:
            if each(selection, node) is decisive:
                return decisive
        return not decisive

    return check


# Operands: what gives one value, or MISSING (the RFC's Nothing)


def _operand(operand: Operand) -> Find:
    match operand:
        case Literal(value):
            return lambda _selection, _node: value
        case Query():
            return _single(operand)
        case FunctionCall():  # pragma: no branch — mypy knows that these are all
            return _value_function(operand)


def _single(query: Query) -> Find:
    """A singular query."""
    steps = plain_steps(query) or ()
    exact, blind = single_walk(steps), blind_walk(steps)
    absolute, cost = query.absolute, len(steps) + 1

    def find(selection: Selection, node: JsonValue) -> Value:
        selection.look(cost)
        start = selection.root if absolute else node
        return blind(selection, start) if selection.blind else exact(start)

    return find


def _nodes(query: Query) -> Nodes:
    """Any query; one that starts at the root always selects the same, so it is evaluated once."""
    select = evaluator(query)
    if not query.absolute:
        return select
    key = id(query)  # the tree lives as long as the function made of it

    def remember(selection: Selection, node: JsonValue) -> list[JsonValue]:
        if key not in selection.remembered:
            selection.remembered[key] = select(selection, node)
        return selection.remembered[key]

    return remember


# Functions (section 2.4)


def _value_function(call: FunctionCall) -> Find:
    argument = call.arguments[0]
    if call.name == "length":
        find = _operand(argument)
        return lambda selection, node: _length(find(selection, node))
    assert isinstance(argument, Query)  # the grammar gives count() and value() nothing else
    nodes = _nodes(argument)
    if call.name == "count":
        return lambda selection, node: JsonNumber(str(len(nodes(selection, node))))

    def only(selection: Selection, node: JsonValue) -> Value:
        found = nodes(selection, node)
        return found[0] if len(found) == 1 else MISSING

    return only


def _length(value: Value) -> Value:
    return JsonNumber(str(len(value))) if isinstance(value, (str, list, dict)) else MISSING


def _pattern_check(call: FunctionCall) -> Check:
    """match() or search(): false for whatever is no string, and for a text that is no I-Regexp."""
    subject, pattern = (_operand(argument) for argument in call.arguments)
    whole = call.name == "match"
    fixed = call.arguments[1]
    known = translate(fixed.value) if isinstance(fixed, Literal) and isinstance(fixed.value, str) else None

    def check(selection: Selection, node: JsonValue) -> bool:
        text = subject(selection, node)
        if not isinstance(text, str):
            return False
        compiled = known
        if compiled is None:
            brought = pattern(selection, node)
            compiled = selection.pattern(brought) if isinstance(brought, str) else None
        return compiled is not None and selection.matches(compiled, text, whole=whole)

    return check
