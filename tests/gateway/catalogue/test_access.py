"""Patterns of names."""

import pytest

from gateway.catalogue.access import Member, Rights, listed


@pytest.mark.parametrize(
    ("name", "patterns", "found"),
    [
        ("TIDES", ("TIDES",), True),
        ("TIDES", ("TIDE", "IDES"), False),
        ("TIDES", ("*",), True),
        ("TIDES", (), False),
        ("NEWS-UK", ("OLD-*", "NEWS-*"), True),
        ("NEWS", ("NEWS-*",), False),
        ("NEWS-", ("NEWS-*",), True),
        ("A-B-C", ("A*C",), True),
        ("A-B-D", ("A*C",), False),
        ("8200", ("82*",), True),
        ("data.example", ("*.example",), True),
        ("dataXexample", ("data.example",), False),  # a dot is a dot
        ("x\ny", ("x*",), True),
    ],
)
def test_patterns(name: str, patterns: tuple[str, ...], found: bool) -> None:
    assert listed(name, patterns) is found


def test_nothing_to_count_without_a_number() -> None:
    assert not Rights().metered
    assert all(each.metered for each in (Rights(rate=1), Rights(bytes=1), Rights(requests=1)))


def test_what_a_member_logs_in_with_is_not_shown() -> None:
    shown = repr(Member("ANNA", "STAFF", password="hash-of-it", key="KEYOFIT"))
    assert "hash-of-it" not in shown
    assert "KEYOFIT" not in shown
