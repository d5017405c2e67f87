"""Tables that can be read in 40 columns."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.extract.fields.text import Lettering
from gateway.extract.texts.blocks import Row, Table, marker
from gateway.extract.texts.tables import Span, make_rows, table_lines

ASCII = Lettering("ascii")


def lines(*rows: tuple[str, ...], head: bool = True, width: int = 40) -> list[str]:
    made = tuple(Row(cells, head and not place) for place, cells in enumerate(rows))
    return list(table_lines(Table(made), ASCII, width))


def test_columns_as_wide_as_they_need_to_be() -> None:
    assert lines(("Port", "High", "m"), ("Northquay", "06:12", "3.1"), ("Süd", "", "12.4")) == [
        "Port        High     m",
        "---------  -----  ----",
        "Northquay  06:12   3.1",
        "Sud               12.4",
    ]


def test_one_blank_between_where_two_do_not_fit() -> None:
    assert lines(("a" * 19, "b" * 20), head=False) == ["a" * 19 + " " + "b" * 20]


def test_long_cells_wrap_in_their_column() -> None:
    assert lines(("Gulls", "Large loud birds that take bread from children"), head=False) == [
        "Gulls Large loud birds that take bread",
        "      from children",
    ]


def test_what_does_not_fit_side_by_side_is_stacked() -> None:
    table = lines(("Name", "About"), ("Gulls", "x" * 45), ("Boats", "wood"))
    assert table == [
        "Name: Gulls",
        "About:",
        "  " + "x" * 38,
        "  " + "x" * 7,
        "",
        "Name: Boats",
        "About: wood",
    ]
    assert lines(("a", "x" * 50), head=False, width=20) == ["a", "x" * 18, "  " + "x" * 18, "  " + "x" * 14]


def test_a_very_tall_row_is_stacked() -> None:
    assert lines(("A", "B"), ("word " * 60, "y"))[0].startswith("A: word word")


def test_a_row_of_many_lines_that_have_to_wrap_is_stacked() -> None:
    cell = "a\nb\nc\nd\ne\n" + "word " * 8
    assert lines(("A", "B"), (cell, "y"))[:2] == ["A: a", "  b"]
    assert lines(("A", "B"), (cell.removeprefix("a\n"), "y"))[0] == "A" + " " * 38 + "B"


def test_empty_rows_and_columns_go() -> None:
    assert lines(("", "a", ""), ("", "", ""), (" ", "b", "\n"), head=False) == ["a", "b"]
    assert lines(("", ""), head=False) == []


def test_a_table_of_headings_only_has_no_line_under_them() -> None:
    assert lines(("a", "b")) == ["a  b"]


def test_links_stay_whole() -> None:
    assert lines(("Port", f"Map{marker(12)}"), head=False) == ["Port  Map [12]"]


def span(text: str, columns: str | None = None, rows: str | None = None) -> Span:
    return Span(text, False, columns, rows)


def cells(*rows: list[Span]) -> list[tuple[str, ...]]:
    return [row.cells for row in make_rows(rows)]


def test_spans_keep_the_columns() -> None:
    # The example's shape is that of HTML section 4.9.12, "forming a table" (from memory).
    assert cells([span("a", rows="2"), span("b", "2")], [span("c"), span("d")], [span("e")]) == [
        ("a", "b", ""),
        ("", "c", "d"),
        ("e",),
    ]
    assert cells([span("a"), span("b", rows="3")], [span("c"), span("d")], [span("e"), span("f")]) == [
        ("a", "b"),
        ("c", "", "d"),
        ("e", "", "f"),
    ]


@pytest.mark.parametrize("value", ["0", "-1", "x", "", "99999999999", "１"])
def test_odd_spans_are_one(value: str) -> None:
    assert cells([span("a", value, value), span("b")], [span("c")]) == [("a", "b"), ("c",)]


def test_a_huge_span_stays_within_the_limit() -> None:
    (row,) = cells([span("a", "60000"), span("b", "60000")])
    assert len(row) == limits.TEXT_TABLE_COLUMNS + 1
    assert lines(*[tuple("abcdefghij" * 10)], head=False, width=255)[0].endswith("f g h i j")


def test_too_many_cells_are_not_put_in_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TEXT_TABLE_CELLS", 3)
    assert lines(("a", "b"), ("c", "d"), head=False) == ["a", "b", "", "c", "d"]


CELLS = st.text("ab 1.ß\n", max_size=30)


@given(st.lists(st.lists(CELLS, max_size=5).map(tuple), max_size=6), st.booleans(), st.integers(16, 80))
def test_nothing_is_lost_or_too_wide(rows: list[tuple[str, ...]], head: bool, width: int) -> None:
    table = lines(*rows, head=head, width=width)
    assert all(len(line) <= width and line == line.rstrip(" ") for line in table)
    shown, wanted = "".join(table), "".join(cell for row in rows[head:] for cell in row)
    for character in "ab1.":  # a heading stands there as often as its column has values, or not at all
        assert shown.count(character) >= wanted.count(character)
