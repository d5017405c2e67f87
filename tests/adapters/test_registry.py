"""Scheme -> factory: sorted, read-only, lazy, and closed against takeovers."""

import logging
import subprocess
import sys
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from adapters.errors import NotPossible
from adapters.http.adapter import HttpAdapter
from adapters.registry import BUILT_IN, ENTRY_POINT_GROUP, SCHEMES, Registry, lookup


def entry(name: str, value: str) -> EntryPoint:
    return EntryPoint(name=name, value=value, group=ENTRY_POINT_GROUP)


def test_built_in_schemes_share_one_factory() -> None:
    assert lookup("http") is lookup("HTTPS") is HttpAdapter


def test_a_factory_is_loaded_once(monkeypatch: pytest.MonkeyPatch) -> None:
    registry = Registry({"memory": "collections:OrderedDict"})
    first = registry.lookup("memory")
    monkeypatch.setattr("collections.OrderedDict", dict)
    assert registry.lookup("memory") is first


def test_it_reads_as_a_sorted_mapping() -> None:
    registry = Registry({"zz": "collections:deque", "aa": "collections:OrderedDict"})
    assert list(registry) == ["aa", "zz"]
    assert len(registry) == 2
    assert "aa" in registry
    assert "bb" not in registry
    assert set(BUILT_IN) <= set(SCHEMES)


def test_it_cannot_be_written() -> None:
    assert not hasattr(SCHEMES, "__setitem__")
    assert not hasattr(SCHEMES, "__delitem__")


@pytest.mark.parametrize(
    ("scheme", "sentence"),
    [
        ("gopher", "No adapter for gopher"),
        ("GOPHER", "No adapter for gopher"),
        ("", "No adapter for that"),
        ("no scheme", "No adapter for that"),
        ("x" * 300, "No adapter for that"),
        ("a\r\nb", "No adapter for that"),
    ],
)
def test_an_unknown_scheme(scheme: str, sentence: str) -> None:
    with pytest.raises(NotPossible) as caught:
        lookup(scheme)
    assert caught.value.sentence == sentence


def test_others_join_by_entry_point() -> None:
    registry = Registry(BUILT_IN, [entry("Memory", "collections:OrderedDict")])
    assert list(registry) == sorted([*BUILT_IN, "memory"])
    assert registry.lookup("memory").__name__ == "OrderedDict"  # type: ignore[attr-defined]


def test_a_built_in_scheme_cannot_be_taken_over(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        registry = Registry(BUILT_IN, [entry("HTTPS", "collections:OrderedDict")])
    assert registry.lookup("https") is HttpAdapter
    assert "https has an adapter already" in caplog.text


def test_the_first_of_two_has_a_scheme_whatever_order_they_are_found_in(
    caplog: pytest.LogCaptureFixture,
) -> None:
    one, two = entry("memory", "collections:Counter"), entry("memory", "collections:OrderedDict")
    for found in ([one, two], [two, one]):
        assert Registry({}, found).lookup("memory").__name__ == "Counter"  # type: ignore[attr-defined]
    assert "memory has an adapter already" in caplog.text


def test_a_name_that_is_no_scheme_is_left_out(caplog: pytest.LogCaptureFixture) -> None:
    """RFC 3986 section 3.1."""
    assert list(Registry({}, [entry("7up", "a:b"), entry("a b", "a:b")])) == []
    assert "is no URL scheme" in caplog.text


@pytest.mark.parametrize("value", ["no_such_module_here:thing", "collections:no_such_name"])
def test_a_broken_package_is_not_possible_and_nothing_worse(value: str) -> None:
    with pytest.raises(NotPossible, match="The adapter for memory is broken"):
        Registry({}, [entry("memory", value)]).lookup("memory")


def test_nothing_is_imported_before_it_is_asked_for() -> None:
    program = (
        "import sys, adapters.registry as r; 'http' in r.SCHEMES, [*r.SCHEMES]; print('httpx' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert done.stdout.strip() == "False"
