"""Pages: every record once, whatever the page sizes, and finished by the settings of the moment."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import WrongWords
from gateway.extract.plan import Record
from gateway.session.pages import Cursor, record_index
from gateway.wire.settings import Settings

PLAIN = Settings()


@given(st.integers(0, 60), st.lists(st.integers(0, 20), min_size=1, max_size=80))
def test_pages_give_every_record_once_and_in_order(count: int, sizes: list[int]) -> None:
    cursor = Cursor([Record(f"{number:03}") for number in range(count)], 3)
    seen: list[str] = []
    for size in [*sizes, 0]:
        reply = cursor.more(replace(PLAIN, page=size))
        assert not size or len(reply.records) <= size
        seen += reply.records
        assert reply.more == (len(seen) < count)
        if reply.records:
            assert cursor.again(None) == reply
    assert seen == [f"{number:03}" for number in range(count)]


def test_no_page_exceeds_what_five_digits_can_count() -> None:
    cursor = Cursor([Record("x")] * (limits.PAGE_RECORDS + 2), 1, limited=True)
    assert cursor.more(PLAIN).status_line == "200 99999 001 +."
    assert cursor.more(PLAIN).status_line == "200 00002 001 .L"


def test_the_worst_harm_of_the_page_shows() -> None:
    records = [Record("a", cut=("A",)), Record("b", misfit=("B",)), Record("c")]
    cursor = Cursor(records, 1, limited=True, stale=True)
    assert [cursor.more(replace(PLAIN, page=1)).flag for _ in range(3)] == ["S", "*", "S"]


def test_each_page_is_finished_by_the_settings_of_its_moment() -> None:
    cursor = Cursor([Record("a,b"), Record("c,d")], 3)
    first = cursor.more(replace(PLAIN, page=1))
    assert cursor.again(None) is first
    second = cursor.more(replace(PLAIN, page=1, mark=True))
    assert second.status_line == "200 00001 004 .."
    assert cursor.again("1").settings.mark


@pytest.mark.parametrize(("count", "words"), [(0, "0 records"), (1, "1 record"), (2, "2 records")])
def test_how_many_records_there_are_to_repeat_is_told(count: int, words: str) -> None:
    with pytest.raises(WrongWords) as refused:
        record_index("3", count)
    assert refused.value.sentence == f"The last page has {words}"
