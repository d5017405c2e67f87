"""How much work one answer may take, whatever paths it is picked by."""

import json

import pytest

from adapters import limits
from adapters.errors import TooMuchWork
from gateway.extract.effort import Effort, current, with_effort
from gateway.extract.json_text import parse_json
from gateway.extract.jsonpath import compile_jsonpath
from gateway.extract.markup import compile_xpath, parse_xml
from gateway.extract.pipeline import extract
from gateway.extract.plan import Style
from gateway.session.picking import pick_plan

ROWS = json.dumps([{"a": {"b": [1, 2, 3]}, "c": "aaaa"} for _ in range(50)]).encode()
PATHS = ["$..b", "$[*].a.b[*]", "$[?@.a.b[0]==1]", "$[?search(@.c,'b')]"]


@pytest.mark.parametrize("path", PATHS)
def test_each_kind_of_path_counts(path: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same path again and again is stopped at some time, and not before it could be done once."""
    monkeypatch.setattr(limits, "ANSWER_VISITS", 3_000)
    root, compiled = parse_json(ROWS, None), compile_jsonpath(path)

    def often() -> None:
        for times in range(1_000):
            try:
                compiled.select(root)
            except TooMuchWork:
                assert times >= 1
                raise

    with pytest.raises(TooMuchWork):
        with_effort(Effort(), often)


def test_a_whole_answer_counts_as_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "ANSWER_VISITS", 3_000)
    plan = pick_plan("$[*]", ["$..b"] * 8)
    with pytest.raises(TooMuchWork):
        with_effort(Effort(), lambda: extract(ROWS, "application/json", None, plan, Style()))
    assert len(extract(ROWS, "application/json", None, plan, Style()).records) == 50  # each path its own


def test_xpaths_count_too() -> None:
    path = compile_xpath("//a[following::a]")
    document = b"<r>" + b"<a/>" * 2_000 + b"</r>"

    def work() -> int:
        markup = parse_xml(document, None)
        return len(path.select(markup, markup))

    assert with_effort(Effort(), work) == 1_999
    with pytest.raises(TooMuchWork):
        with_effort(Effort(brief=True), _many)


def _many() -> int:
    markup = parse_xml(b"<r>" + b"<a/>" * 2_000 + b"</r>", None)
    return len(compile_xpath("//a[following::a[preceding::a]]").select(markup, markup))


def test_a_slow_pattern_is_too_much_for_a_moment() -> None:
    root = parse_json(json.dumps(["a" * 2_000 + "!"]).encode(), None)
    path = compile_jsonpath('$[?search(@,"(a|aa)+b")]')
    with pytest.raises(TooMuchWork):
        with_effort(Effort(brief=True), lambda: path.select(root))


def test_it_counts_only_for_what_is_called_from_there() -> None:
    effort = Effort(brief=True)
    assert with_effort(effort, current) is effort
    assert current() is not effort
    assert not current().brief
    with pytest.raises(ZeroDivisionError):
        with_effort(effort, lambda: 1 // 0)
    assert current() is not effort
