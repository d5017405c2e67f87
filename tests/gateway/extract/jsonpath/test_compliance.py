"""The compliance suite of RFC 9535 (vectors/jsonpath): every route answers, every wrong query is refused."""

import json
from collections.abc import Mapping
from typing import Any

import pytest

from adapters.errors import PathFault
from gateway.extract.json_text import parse_json, to_text
from gateway.extract.jsonpath import Route, compile_jsonpath
from gateway.extract.jsonpath.evaluate import evaluator
from gateway.extract.jsonpath.selection import Selection
from gateway.extract.values import JsonValue
from tests.conftest import VECTORS

_SUITE = VECTORS / "jsonpath" / "cts.json"
_TESTS: list[dict[str, Any]] = (
    json.loads(_SUITE.read_text(encoding="utf-8"))["tests"] if _SUITE.exists() else []
)
_VALID = [test for test in _TESTS if not test.get("invalid_selector")]
_INVALID = [test for test in _TESTS if test.get("invalid_selector")]


needs_suite = pytest.mark.skipif(not _TESTS, reason=f"no published vectors in {VECTORS}")


def _each(tests: list[dict[str, Any]]) -> pytest.MarkDecorator:
    """One test each; without the suite one that is skipped and says why."""
    return pytest.mark.parametrize("test", tests or [{"name": "none"}], ids=lambda test: test["name"])


@needs_suite
def test_the_suite_is_whole() -> None:
    assert (len(_VALID), len(_INVALID)) == (456, 247)


def _read(value: object) -> JsonValue:
    return parse_json(json.dumps(value).encode())


def _wanted(test: Mapping[str, Any]) -> list[str]:
    """Each allowed answer, as compact text."""
    answers = test["results"] if "results" in test else [test["result"]]
    return [to_text(_read(answer)) for answer in answers]


@needs_suite
@_each(_VALID)
def test_a_valid_query_is_answered_rightly(test: Mapping[str, Any]) -> None:
    document = _read(test["document"])
    path = compile_jsonpath(test["selector"])
    wanted = _wanted(test)
    assert to_text(path.select(document)) in wanted
    assert to_text(evaluator(path.query)(Selection(document), document)) in wanted
    first = path.first(document)
    assert [first] == path.select(document)[:1] or path.select(document) == []


@needs_suite
@_each(_INVALID)
def test_an_invalid_query_is_refused_with_its_place(test: Mapping[str, Any]) -> None:
    with pytest.raises(PathFault) as caught:
        compile_jsonpath(test["selector"])
    assert 0 <= caught.value.position <= len(test["selector"])
    assert caught.value.sentence.isascii()
    assert len(caught.value.sentence) <= 40
    assert caught.value.code == 501


@needs_suite
def test_all_three_routes_are_taken() -> None:
    taken = {compile_jsonpath(test["selector"]).route for test in _VALID}
    assert taken == set(Route)
