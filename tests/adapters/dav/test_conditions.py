"""Conditions: RFC 4918 section 10.4, RFC 9110 sections 8.8.3.2 and 13.1."""

from datetime import UTC, datetime, timedelta

import pytest

from adapters.dav.conditions import check, move_condition, put_condition, same_document, unchanged
from adapters.errors import ChangedMeanwhile, WrongDocument
from adapters.files import Kind, Stat, Was
from adapters.port import Validators

MOMENT = datetime(2024, 2, 29, 10, 15, tzinfo=UTC)


def stat(etag: str | None = None, size: int | None = None, modified: datetime | None = None) -> Stat:
    return Stat(Kind.FILE, size, modified, Validators(etag))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        # RFC 9110 section 8.8.3.2, the column "weak comparison"
        (stat('W/"1"'), stat('W/"1"'), True),
        (stat('W/"1"'), stat('W/"2"'), False),
        (stat('W/"1"'), stat('"1"'), True),
        (stat('"1"'), stat('"1"'), True),
        (stat('"1"', modified=MOMENT), stat('"1"', modified=MOMENT + timedelta(1)), True),
        (stat('"1"', 5), stat('"1"', 6), False),
        (stat('"1"'), stat(None), True),  # a server that tells it in GET and not in PROPFIND
        (stat(None, 5, MOMENT), stat('"1"', 5, MOMENT), True),
        (stat(None, 5, MOMENT), stat('"1"', 5, MOMENT + timedelta(seconds=1)), False),
        (stat(None, 5), stat(None, 6), False),
        (stat(None, 5), stat(None, None), True),
        (stat(), Stat(Kind.FOLDER), False),
    ],
)
def test_same(one: Stat, other: Stat, same: bool) -> None:
    assert same_document(one, other) is same
    assert same_document(other, one) is same


def test_unchanged() -> None:
    assert unchanged(None, None)
    assert not unchanged(None, stat())
    assert not unchanged(stat(), None)
    assert unchanged(stat('"1"'), stat('"1"'))


def test_what_has_to_be_there() -> None:
    check(Was.ANYTHING, None)
    check(Was.ANYTHING, stat())
    check(Was.NOTHING, None)
    check(stat('"1"'), stat('"1"'))
    for condition, now in ((Was.NOTHING, stat()), (stat('"1"'), stat('"2"')), (stat('"1"'), None)):
        with pytest.raises(ChangedMeanwhile):
            check(condition, now)
    for folder in (Was.ANYTHING, Was.NOTHING, stat('"1"')):
        with pytest.raises(WrongDocument):
            check(folder, Stat(Kind.FOLDER))


def test_what_a_server_is_told() -> None:
    url = "http://h.example/a"
    assert move_condition(url, stat('"1"')) == (("If", '<http://h.example/a> (["1"])'),)
    assert move_condition(url, stat('W/"1"')) == (("If", '<http://h.example/a> ([W/"1"])'),)
    for unknown in (None, stat(None), stat("1"), stat('"a"b"')):
        assert move_condition(url, unknown) == ()
    assert put_condition(None) == (("If-None-Match", "*"),)
    assert put_condition(stat('"1"')) == (("If-Match", '"1"'),)
    for unknown in (stat(None), stat('W/"1"')):
        assert put_condition(unknown) == ()
