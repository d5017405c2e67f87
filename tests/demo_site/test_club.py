"""The site's memory: scores and guest book."""

from concurrent.futures import ThreadPoolExecutor

from adapters import limits
from demo_site.club import OPENING, GuestBook, HighScores, Placed, Score


def test_ranks_are_standard_competition_ranks() -> None:
    """1, 2, 2, 4: equals share a rank and the next one is skipped (common practice in sports)."""
    assert [rank for rank, _ in HighScores().table()] == [1, 2, 2, 4, 5]


def test_a_new_score_gets_its_rank() -> None:
    scores = HighScores()
    assert scores.add(Score("MOLE", 8200)) == Placed(Score("MOLE", 8200), rank=2, of=6)
    assert scores.add(Score("BAR", 8150)) == Placed(Score("BAR", 8150), rank=3, of=7)
    # Equals stand in the order they came.
    assert [score.name for _, score in scores.table()][:5] == [
        "FERRY CAT",
        "MOLE",
        "LAMPLIGHTER",
        "TUG",
        "BAR",
    ]


def test_exactly_the_same_entry_is_refused_and_changes_nothing() -> None:
    scores = HighScores()
    before = scores.table()
    assert scores.add(OPENING[0]) is None
    assert scores.table() == before
    assert scores.add(Score(OPENING[0].name, OPENING[0].points - 1)) is not None


def test_a_full_table_drops_its_last_entry() -> None:
    scores = HighScores()
    for points in range(limits.DEMO_ENTRIES + 10):
        scores.add(Score("MANY", points))
    table = scores.table()
    assert len(table) == limits.DEMO_ENTRIES
    assert table[0] == (1, OPENING[0])
    assert all(score.points > 10 for _, score in table)
    lowest = scores.add(Score("TOO LOW", 0))
    assert lowest is not None
    assert lowest.rank == limits.DEMO_ENTRIES + 1
    assert len(scores.table()) == limits.DEMO_ENTRIES


def test_of_many_threads_with_one_entry_one_wins() -> None:
    scores = HighScores()
    with ThreadPoolExecutor(16) as threads:
        placed = list(threads.map(lambda _: scores.add(Score("RACE", 1)), range(200)))
    assert sum(each is not None for each in placed) == 1


def test_entries_from_many_threads_all_arrive() -> None:
    scores, book = HighScores(), GuestBook()
    with ThreadPoolExecutor(16) as threads:
        list(threads.map(lambda points: scores.add(Score("RACE", points)), range(60)))
        numbers = list(threads.map(lambda number: book.write((str(number),)).number, range(60)))
    assert len(scores.table()) == len(OPENING) + 60
    assert sorted(numbers) == list(range(1, 61))


def test_the_guest_book_counts_on_and_drops_its_oldest_entry() -> None:
    book = GuestBook()
    for number in range(limits.DEMO_ENTRIES + 3):
        book.write((f"entry {number}", "second line"))
    entries = book.entries()
    assert len(entries) == limits.DEMO_ENTRIES
    assert (entries[0].number, entries[-1].number) == (4, limits.DEMO_ENTRIES + 3)
    assert entries[-1].lines == (f"entry {limits.DEMO_ENTRIES + 2}", "second line")


def test_reset_brings_the_opening_back() -> None:
    scores, book = HighScores(), GuestBook()
    scores.add(Score("X", 1))
    book.write(("x",))
    scores.reset()
    book.reset()
    assert [score for _, score in scores.table()] == list(OPENING)
    assert book.entries() == ()
    assert book.write(("x",)).number == 1
