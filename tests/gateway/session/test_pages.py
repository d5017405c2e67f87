"""Pages: every record once, whatever the page sizes."""

from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.session.pages import CUT, MISFIT, Cursor, Finished


@given(st.integers(0, 60), st.lists(st.integers(0, 20), min_size=1, max_size=80))
def test_pages_give_every_record_once_and_in_order(count: int, sizes: list[int]) -> None:
    cursor = Cursor([Finished(f"{number:03}") for number in range(count)], 3, limited=False, stale=False)
    seen: list[str] = []
    for size in [*sizes, 0]:
        reply = cursor.more(size)
        assert not size or len(reply.records) <= size
        seen += reply.records
        assert reply.more == (len(seen) < count)
        if reply.records:
            assert cursor.again(None) == reply
    assert seen == [f"{number:03}" for number in range(count)]


def test_no_page_exceeds_what_five_digits_can_count() -> None:
    cursor = Cursor([Finished("x")] * (limits.PAGE_RECORDS + 2), 1, limited=True, stale=False)
    assert cursor.more(0).status_line == "200 99999 001 +."
    assert cursor.more(0).status_line == "200 00002 001 .L"


def test_the_worst_harm_of_the_page_shows() -> None:
    cursor = Cursor([Finished("a", CUT), Finished("b", MISFIT), Finished("c")], 1, limited=True, stale=True)
    assert [cursor.more(1).flag for _ in range(3)] == ["S", "*", "S"]
