"""The three routes: which query goes where, that all give the same nodes, case-blind names, and the cases."""

import warnings
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from adapters import limits
from gateway.extract.json_text import parse_json, to_text
from gateway.extract.jsonpath import JsonPath, Route, compile_jsonpath
from gateway.extract.jsonpath.evaluate import evaluator
from gateway.extract.jsonpath.library import library_walk
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.jsonpath.walk import many_walk, plain_steps, single_walk
from gateway.extract.plan import Path as PlanPath
from gateway.extract.values import MISSING, JsonNumber, JsonValue, Value
from tests.gateway.extract.jsonpath.generated import chains, documents, queries

slow_to_draw = settings(suppress_health_check=[HealthCheck.too_slow])
CASES = Path(__file__).parents[3] / "cases"


def case_json(case: str, name: str) -> JsonValue:
    return parse_json((CASES / case / name).read_bytes())


@pytest.mark.parametrize(
    ("text", "route"),
    [
        ("$", Route.WALK),
        ("$.a.b[3]", Route.WALK),
        ("$.items[*]", Route.WALK),
        ("$['a b'].*[-1]", Route.WALK),
        ("$['*']", Route.WALK),
        ("$.items[0:10].name", Route.LIBRARY),
        ("$[::-1]", Route.LIBRARY),
        ("$.*[:]", Route.LIBRARY),
        ("$['*'][0:1]", Route.OWN),  # the library takes that name for a wildcard
        ("$..name", Route.OWN),
        ("$['a','b']", Route.OWN),
        ("$[0,1]", Route.OWN),
        ("$[?@.a]", Route.OWN),
    ],
)
def test_the_route_of_a_query(text: str, route: Route) -> None:
    assert compile_jsonpath(text).route is route


def test_a_path_is_known_by_its_text() -> None:
    path: PlanPath = compile_jsonpath("$.a")
    assert path.text == "$.a"
    assert path == compile_jsonpath("$.a")
    assert path != compile_jsonpath("$['a']")
    assert len({path, compile_jsonpath("$.a")}) == 1
    assert repr(path).startswith("JsonPath(text='$.a', singular=True")


def by_route(path: JsonPath, document: JsonValue) -> dict[Route, list[JsonValue]]:
    """The nodes by every route that can take the query."""
    found = {Route.OWN: evaluator(path.query)(Selection(document), document)}
    steps = plain_steps(path.query)
    if steps is not None:
        found[Route.WALK] = many_walk(steps)(document)
        if path.singular:
            value = single_walk(steps)(document)
            assert found[Route.WALK] == ([] if value is MISSING else [value])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        library = library_walk(path.query)
    nodes = library(document) if library is not None else None
    if nodes is not None:
        found[Route.LIBRARY] = nodes
    return found


@slow_to_draw
@given(chains() | queries(), documents)
def test_all_routes_give_the_same_nodes(text: str, document_text: str) -> None:
    document = parse_json(document_text.encode())
    path = compile_jsonpath(text)
    found = by_route(path, document)
    assert path.route in found
    answers = {to_text(nodes) for nodes in found.values()}
    assert answers == {to_text(path.select(document))}
    first = path.first(document)
    assert path.select(document)[:1] == ([] if first is MISSING else [first])


@given(chains(), documents)
def test_the_library_takes_every_chain(text: str, document_text: str) -> None:
    path = compile_jsonpath(text)
    if "*'" not in text and '*"' not in text and "\\u" not in text:
        assert Route.LIBRARY in by_route(path, parse_json(document_text.encode()))


def test_documents_too_large_for_the_library_are_our_own() -> None:
    path = compile_jsonpath("$[1:].a")
    document: JsonValue = [{"a": JsonNumber(str(number))} for number in range(limits.LIBRARY_NODES + 1)]
    library = library_walk(path.query)
    assert library is not None
    assert library(document) is None
    assert to_text(path.select(document)[-1]) == str(limits.LIBRARY_NODES)
    assert len(path.select(document)) == limits.LIBRARY_NODES


def test_a_selection_is_the_callers_own() -> None:
    document = parse_json(b'{"a":[1,2,3]}')
    for text in ("$.a[*]", "$.a[:]", "$..*", "$.a[?@]", "$"):
        nodes = compile_jsonpath(text).select(document)
        nodes.clear()
        assert to_text(document) == '{"a":[1,2,3]}'


# Case-blind names (CONTRACT section 3, PICK)

MEMBERS = parse_json(
    """{"Name":1,"nAmE":2,"NAME":3,"Straße":4,"x":8,"X":9,
    "Item":{"Id":5,"list":[{"KEY":6},{"key":7}]}}""".encode()
)


@pytest.mark.parametrize(
    ("text", "nodes"),
    [
        ("$.Name", "[1]"),  # exactly
        ("$.NAME", "[3]"),
        ("$.name", "[]"),  # several
        ("$.x", "[8]"),
        ("$.STRASSE", "[4]"),
        ("$.item.id", "[5]"),
        ("$.ITEM.LIST[*].key", "[6,7]"),
        ("$.ITEM.LIST[0:1].key", "[6]"),
        ("$.item.LIST[-1].KEY", "[7]"),
        ("$.item.LIST[2].KEY", "[]"),
        ("$..key", "[6,7]"),
        ("$['ITEM','nope']['ID']", "[5]"),
        ("$.item.LIST[?@.KEY == 7].KEY", "[7]"),
        ("$.item.LIST[?@.Key].key", "[6,7]"),
        ("$.item.LIST[?$.ITEM.ID == 5].key", "[6,7]"),
        ("$.item[?@[0].KEY == 6][1].Key", "[7]"),
        ("$.item[?@[9].KEY == 6]", "[]"),
        ("$.absent", "[]"),
    ],
)
def test_names_match_case_blind_where_only_one_does(text: str, nodes: str) -> None:
    path = compile_jsonpath(text)
    assert to_text(path.select(MEMBERS, blind=True)) == nodes
    first = path.first(MEMBERS, blind=True)
    assert path.select(MEMBERS, blind=True)[:1] == ([] if first is MISSING else [first])


def test_names_are_exact_otherwise() -> None:
    assert compile_jsonpath("$.item").select(MEMBERS) == []
    assert compile_jsonpath("$.item").first(MEMBERS) is MISSING


@slow_to_draw
@given(queries(), documents)
def test_blind_changes_nothing_where_no_names_differ_by_case(text: str, document_text: str) -> None:
    document = parse_json(document_text.replace('"B"', '"C"').encode())  # the generated names have b and B
    path = compile_jsonpath(text.replace("B", "C"))
    assert path.select(document, blind=True) == path.select(document)


# Cases


def test_the_case_of_odd_names_and_indexes() -> None:
    document = case_json("json-odd-keys-and-indexes", "odd-keys.json")
    expected = case_json("json-odd-keys-and-indexes", "expected.json")
    assert isinstance(expected, dict) and len(expected) == 18
    for text, value in expected.items():
        nodes = compile_jsonpath(text).select(document)
        if value is None:
            assert nodes == [], text
        else:
            assert [node if isinstance(node, str) else to_text(node) for node in nodes] == [value], text


def test_the_case_of_exact_numbers() -> None:
    document = case_json("json-exact-numbers", "numbers.json")
    expected = case_json("json-exact-numbers", "expected.json")
    assert isinstance(expected, dict) and len(expected) == 11
    for text, value in expected.items():
        found = compile_jsonpath(text).first(document)
        if isinstance(found, JsonNumber):
            assert isinstance(value, str)
            assert format(Decimal(found.text), "f") == value
        else:
            assert found is True or found == value


def shown(value: Value) -> str:
    """The case's own way to show values; how a field shows them is not the path's concern."""
    if value is MISSING:
        return "<missing>"
    if value is None:
        return "<null>"
    if value == "":
        return "<empty>"
    return value if isinstance(value, str) else to_text(value)


def test_the_case_of_missing_null_and_empty() -> None:
    case = "json-null-missing-one-or-many"
    rows, expected = case_json(case, "rows.json"), case_json(case, "expected.json")
    assert isinstance(expected, dict)
    number, name = compile_jsonpath("$.id"), compile_jsonpath("$.name")
    found = [
        [shown(number.first(row)), shown(name.first(row))] for row in compile_jsonpath("$[*]").select(rows)
    ]
    assert found == expected["rows.json"]


@pytest.mark.parametrize("name", ["one.json", "many.json", "none_list.json", "none_obj.json"])
def test_the_case_of_one_or_many(name: str) -> None:
    case = "json-null-missing-one-or-many"
    expected = case_json(case, "expected.json")
    assert isinstance(expected, dict)
    path = compile_jsonpath("$.Result.Row")
    assert path.singular
    found = path.first(case_json(case, name))
    rows = found if isinstance(found, list) else [] if found is MISSING else [found]
    assert [to_text(compile_jsonpath("$.n").select(row)[0]) for row in rows] == expected[name]
