"""CSV against RFC 4180 and against Python's csv module."""

import codecs
import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import FarFault, PathFault, TooLarge, WrongDocument
from gateway.extract.plan import Path
from gateway.extract.table import ColumnPath, Table, compile_column, parse_csv


def rows(text: str, charset: str | None = None) -> list[list[str]]:
    table = parse_csv(text.encode(), charset)
    return [list(table.headings), *map(list, table.rows)]


def refusal(body: bytes, kind: type[FarFault] = WrongDocument) -> str:
    with pytest.raises(kind) as caught:
        parse_csv(body)
    return caught.value.sentence


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # RFC 4180 section 2, its seven rules with their own examples
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
        ("a, b ,c\n", [["a", " b ", "c"]]),  # rule 4: spaces are part of a field
        # line ends
        ("a,b\n1,2\n", [["a", "b"], ["1", "2"]]),
        ("a,b\r1,2\r", [["a", "b"], ["1", "2"]]),
        ("a,b\r\n\r\n1,2\n\n\n", [["a", "b"], ["1", "2"]]),
        ("\n\na,b\n1,2", [["a", "b"], ["1", "2"]]),
        ('a,b\r"1\r2","3\n4"\r', [["a", "b"], ["1\r2", "3\n4"]]),
        ("a,b\n1\u2028x,2\x0by\x85\n", [["a", "b"], ["1\u2028x", "2\x0by\x85"]]),
        # short and long rows, empty cells
        ("a,b,c\n1\n1,2,3,4\n,,\n", [["a", "b", "c"], ["1"], ["1", "2", "3", "4"], ["", "", ""]]),
        ('a\n""\n', [["a"], [""]]),
        # quotes inside unquoted fields
        ('a,b\n5" pipe,2\n', [["a", "b"], ['5" pipe', "2"]]),
        ('a\n"x"y\n', [["a"], ["xy"]]),
        # separators
        ("a;b\n1,5;2\n", [["a", "b"], ["1,5", "2"]]),
        ("a\tb\n1\t2\n", [["a", "b"], ["1", "2"]]),
        ("a|b|c\n1|2|3\n", [["a", "b", "c"], ["1", "2", "3"]]),
        ("a,b;c\n1,2\n", [["a", "b;c"], ["1", "2"]]),
        ("a,b;c;d\n1,2\n", [["a,b", "c", "d"], ["1,2"]]),
        ('"a;b;c;d",e\n1,2\n', [["a;b;c;d", "e"], ["1", "2"]]),
        ('"a\n;;;;",e\n1,2\n', [["a\n;;;;", "e"], ["1", "2"]]),
        ('"a"";;;",e\n1,2\n', [['a";;;', "e"], ["1", "2"]]),
        ('5" pipe;6" pipe\n1;2\n', [['5" pipe', '6" pipe'], ["1", "2"]]),
        ("one\n1;2\n", [["one"], ["1;2"]]),
    ],
)
def test_documents(text: str, expected: list[list[str]]) -> None:
    assert rows(text) == expected


@pytest.mark.parametrize("codec", ["utf-8", "utf-16-le", "utf-16-be"])
def test_a_byte_order_mark_is_no_part_of_the_first_heading(codec: str) -> None:
    table = parse_csv("\ufeffname,größe\nx,1\n".encode(codec), "iso-8859-1")
    assert table.headings == ("name", "größe")


@pytest.mark.parametrize(
    ("body", "charset", "expected"),
    [
        ("größe\n".encode(), None, "größe"),
        ("größe\n".encode(), "iso-8859-1", "größe"),
        ("größe\n".encode("latin-1"), None, "größe"),
        ("größe\n".encode("latin-1"), "utf-8", "größe"),
        (b"\x80\n", None, "€"),
        ("гавань\n".encode("cp1251"), "windows-1251", "гавань"),
        ("港\n".encode("shift_jis"), "shift_jis", "港"),
    ],
)
def test_encodings(body: bytes, charset: str | None, expected: str) -> None:
    assert parse_csv(body, charset).headings == (expected,)


def test_hostile_documents() -> None:
    assert refusal(b"") == "Empty, so not CSV"
    assert refusal(b"\r\n\r\n") == "Empty, so not CSV"
    assert refusal(codecs.BOM_UTF8) == "Empty, so not CSV"
    assert refusal(b"a,b\n1,2\0\n") == "Not CSV: it holds NUL bytes"
    for cut in (b'a,b\n1,"two', b'a,b\n1,"two\n', b'a,b\n1,"two""', b'a,b\n"', b'"', b'a,b\n1,2\n"'):
        assert refusal(cut) == "The CSV document stops too early"
    assert parse_csv(b'a,b\n1,"two"').rows == (("1", "two"),)


def test_sizes(monkeypatch: pytest.MonkeyPatch) -> None:
    before = csv.field_size_limit()
    assert parse_csv(b"a\n" + b"x" * before).rows[0][0] == "x" * before
    assert refusal(b"a\n" + b"x" * (before + 1), TooLarge) == "A cell is too large"
    assert refusal(b'a\n"' + b"x" * 1_000_000, TooLarge) == "A cell is too large"
    assert csv.field_size_limit() == before
    monkeypatch.setattr(limits, "ROWS", 10)
    assert len(parse_csv(b"a\n" + b"1\n" * 10).rows) == 10
    assert refusal(b"a\n" + b"1\n" * 11, TooLarge) == "Too many rows"
    monkeypatch.setattr(limits, "EXPANDED_BYTES", 100)
    assert refusal(b"a" * 101, TooLarge) == "The document is too large"


_cells = st.text(alphabet="ab1 ,;|\t\"\r\n'é", max_size=6)


@given(
    st.lists(st.lists(_cells, min_size=2, max_size=4), max_size=5),
    st.sampled_from(",;\t|"),
    st.sampled_from(["\r\n", "\n", "\r"]),
    st.booleans(),
)
def test_what_pythons_writer_wrote_is_read(
    cells: list[list[str]], separator: str, end: str, quoted: bool
) -> None:
    written = io.StringIO(newline="")
    # With another line end of its own, the writer leaves bare CRs and LFs unquoted.
    if quoted or end != "\r\n":
        writer = csv.writer(written, delimiter=separator, lineterminator=end, quoting=csv.QUOTE_ALL)
    else:
        writer = csv.writer(written, delimiter=separator, lineterminator=end)
    writer.writerows([["h1", "h2", "h3"], *cells])
    assert rows(written.getvalue()) == [["h1", "h2", "h3"], *cells]


@given(st.text(alphabet='ab,"\r\n', max_size=20))
def test_what_pythons_strict_reader_reads_is_read_alike(text: str) -> None:
    try:
        expected = [row for row in csv.reader(io.StringIO(text, newline=""), strict=True) if row]
    except csv.Error:
        return
    if expected:
        assert rows(text) == expected
    else:
        assert refusal(text.encode()) == "Empty, so not CSV"


@given(st.binary(max_size=60))
def test_any_bytes_are_a_table_or_refused(body: bytes) -> None:
    try:
        table = parse_csv(body)
    except WrongDocument:
        return
    assert table.headings


# Columns

SHIPS = Table(
    ("name", "2", " berth ", "name", "Tons", "TONS", "Flag"), (("Aurora", "x", "B4", "again", "1", "2", "f"),)
)
ROW = SHIPS.rows[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("name", ["Aurora"]),  # the first of equal headings
        ("1", ["Aurora"]),
        ("2", ["x"]),  # a heading wins over a number
        ("3", ["B4"]),
        ("7", ["f"]),
        ("8", []),
        ("0", []),
        ("-1", []),
        ("01", []),
        ("999999", []),
        ("99999999999999999999", []),
        (" berth ", ["B4"]),
        ("berth", ["B4"]),
        ("Tons", ["1"]),
        ("TONS", ["2"]),
        ("tons", []),
        ("NAME", []),
        ("nothing", []),
        ("٣", []),
    ],
)
def test_columns(text: str, expected: list[str]) -> None:
    assert compile_column(text).select(ROW, SHIPS) == expected


@pytest.mark.parametrize(
    ("text", "expected"), [("NAME", ["Aurora"]), ("tons", []), ("TONS", ["2"]), ("FLAG", ["f"]), ("2", ["x"])]
)
def test_columns_blind(text: str, expected: list[str]) -> None:
    assert compile_column(text).select(ROW, SHIPS, blind=True) == expected


def test_short_rows_miss_their_last_columns() -> None:
    table = parse_csv(b"a,b,c\n1\n1,\n")
    path = compile_column("b")
    assert [path.select(row, table) for row in table.rows] == [[], [""]]


def test_a_column_is_a_plans_path() -> None:
    path: Path = compile_column("berth")
    assert path.text == "berth"
    assert isinstance(path, ColumnPath)
    assert path.place(SHIPS) == 2
    for wrong in ("", "  ", "x" * (limits.PATH_CHARACTERS + 1)):
        with pytest.raises(PathFault):
            compile_column(wrong)
