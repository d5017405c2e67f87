"""LIST's records, CONTRACT section 3: number(4) kind(1) size(9) date(10) name(rest)."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.files import Entry, Kind
from gateway.extract.folders import Folder, Order, list_records
from gateway.extract.plan import Style

STYLE = Style()
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
ENTRIES = st.lists(
    st.builds(
        Entry,
        st.binary(min_size=1, max_size=30),
        st.sampled_from(Kind),
        st.none() | st.integers(0, 10**16),
        st.none() | st.datetimes(timezones=st.just(UTC)),
    ),
    max_size=12,
)


def file(name: str = "tides.txt", size: int | None = 1234, modified: datetime | None = NOON) -> Entry:
    return Entry(name.encode(), Kind.FILE, size, modified)


def lines(folder: Folder) -> list[str]:
    return [record.text for record in folder.sheet.records]


def one(entry: Entry, columns: int = 40, mark: bool = False) -> str:
    (line,) = lines(list_records([entry], STYLE, columns, mark=mark))
    return line


@pytest.mark.parametrize(
    ("columns", "line"),
    [
        (40, "   1 F      1234 2026-11-25 tides.txt   "),
        (48, "   1 F      1234 2026-11-25 tides.txt           "),
        (39, "   1 F      1234 tides.txt             "),
        (28, "   1 F      1234 tides.txt  "),
        (27, "   1 F tides.txt           "),
        (16, "   1 F tides.txt"),
    ],
)
def test_columns_go_where_there_is_no_room_for_them(columns: int, line: str) -> None:
    assert len(line) == columns
    assert one(file(), columns) == line


@pytest.mark.parametrize(
    ("columns", "line"),
    [
        (40, "   1 F      1234 2026-11-25 tides.txt  "),
        (28, "   1 F      1234 tides.txt "),
        (27, "   1 F tides.txt          "),
    ],
)
def test_a_mark_takes_a_column_of_the_name_and_no_other(columns: int, line: str) -> None:
    assert one(file(), columns, mark=True) == line


def test_a_folder_has_no_slash_and_no_size() -> None:
    assert one(Entry(b"charts", Kind.FOLDER, 4096, NOON)) == "   1 D           2026-11-25 charts      "


def test_a_link_and_what_is_not_known() -> None:
    assert one(Entry(b"newest", Kind.LINK)) == "   1 L                      newest      "


@pytest.mark.parametrize(
    ("size", "shown"),
    [
        (0, "        0"),
        (999_999_999, "999999999"),
        (1_000_000_000, "  976563K"),  # 976,562.5, rounded up
        (1_024_000_000, " 1000000K"),
        (99_999_999 * 1024, "99999999K"),
    ],
)
def test_a_long_size_is_in_k_rounded_up(size: int, shown: str) -> None:
    assert one(file(size=size))[7:16] == shown


def test_a_size_that_does_not_fit_even_so_is_never_a_shorter_number() -> None:
    folder = list_records([file(size=99_999_999 * 1024 + 1)], STYLE, 40)
    assert lines(folder)[0][7:16] == "*" * 9
    assert folder.sheet.records[0].misfit == ("SIZE",)
    assert folder.sheet.misfits == (("SIZE", 1),)


def test_a_number_past_9999() -> None:
    folder = list_records([file(f"{number:05}") for number in range(10_001)], STYLE, 40)
    assert [line[:4] for line in lines(folder)[9_997:]] == ["9998", "9999", "****", "****"]
    assert folder.sheet.misfits == (("NUMBER", 2),)


def test_a_long_name_is_cut_and_says_so() -> None:
    folder = list_records([file("harbour-notes.txt"), file("twelve-chars")], STYLE, 40)
    assert lines(folder)[0].endswith(" harbour-note")
    assert [record.cut for record in folder.sheet.records] == [("NAME",), ()]
    assert folder.sheet.cuts == (("NAME", 1),)


def test_dates_are_the_session_s() -> None:
    late = datetime(2026, 12, 31, 23, 30, tzinfo=UTC)
    (utc,) = lines(list_records([file(modified=late)], STYLE, 40))
    (east,) = lines(list_records([file(modified=late)], Style(zone="Pacific/Auckland"), 40))
    assert (utc[17:27], east[17:27]) == ("2026-12-31", "2027-01-01")
    edge = datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=5)))
    assert one(file(modified=edge))[17:27] == " " * 10  # the year 0 in UTC


def names(order: Order) -> list[str]:
    entries = [
        Entry(b"b", Kind.FILE, 5, NOON),
        Entry(b"A", Kind.FILE, None, NOON + timedelta(days=1)),
        Entry(b"a", Kind.FILE, 5, None),
        Entry(b"C", Kind.FOLDER, 9, NOON),
        Entry(b"d", Kind.FILE, 70, NOON - timedelta(days=1)),
    ]
    folder = list_records(entries, STYLE, 40, order=order)
    assert sorted(folder.entries, key=lambda entry: entry.name) == sorted(
        entries, key=lambda entry: entry.name
    )
    assert [line[28:].rstrip() for line in lines(folder)] == [entry.name.decode() for entry in folder.entries]
    return [entry.name.decode() for entry in folder.entries]


def test_the_orders() -> None:
    assert names(Order.NAME) == ["A", "a", "b", "C", "d"]
    assert names(Order.SIZE) == ["d", "a", "b", "A", "C"]
    assert names(Order.DATE) == ["A", "b", "C", "d", "a"]
    assert names(Order.SENT) == ["b", "A", "a", "C", "d"]


def test_short_names_lead_to_their_entries() -> None:
    entries = [file("harbour notes.text"), file("tides.txt"), file("Harbour Notes 2.text")]
    folder = list_records(entries, STYLE, 40, short=True)
    assert [line[28:].rstrip() for line in lines(folder)] == ["HARBOURN.TEX", "HARBOU-2.TEX", "TIDES.TXT"]
    for short, place in folder.shorts.items():
        assert lines(folder)[place][28:].rstrip() == short
    assert folder.entries[folder.shorts["HARBOU-2.TEX"]].name == b"harbour notes.text"
    assert list_records(entries, STYLE, 40).shorts == {}


def test_a_listing_that_is_not_whole_limits_the_sheet() -> None:
    assert list_records([], STYLE, 40, partial=True).sheet.limited
    assert not list_records([], STYLE, 40).sheet.limited


@given(entries=ENTRIES, columns=st.integers(16, 255), mark=st.booleans(), short=st.booleans())
def test_every_record_is_exactly_as_wide_and_printable(
    entries: list[Entry], columns: int, mark: bool, short: bool
) -> None:
    for order in Order:
        folder = list_records(entries, STYLE, columns, mark=mark, order=order, short=short)
        assert folder.sheet.width == columns - mark
        assert len(folder.sheet.records) == len(folder.entries) == len(entries)
        for line in lines(folder):
            assert len(line) == columns - mark and line.isascii() and line.isprintable()


@given(entries=ENTRIES)
def test_a_short_name_means_the_same_entry_in_every_order(entries: list[Entry]) -> None:
    by_order = [list_records(entries, STYLE, 40, order=order, short=True) for order in Order]
    found = [
        {short: folder.entries[place].name for short, place in folder.shorts.items()} for folder in by_order
    ]
    assert all(each == found[0] for each in found)


@pytest.mark.parametrize("charset", ["ascii", "latin1"])
@pytest.mark.parametrize("short", [False, True])
def test_the_names_in_ascii_go_along_whatever_is_shown(charset: str, short: bool) -> None:
    entries = [file("Möwe und noch viel mehr.txt"), file("a")]
    folder = list_records(entries, Style(charset), 40, short=short, letters={"ö": "oe"})
    assert folder.names == ("a", "Moewe und noch viel mehr.txt")
    shown = folder.sheet.records[1].text[28:].strip()
    assert shown == ("MOEWEUND.TXT" if short else "Moewe und no" if charset == "ascii" else "Möwe und noc")
