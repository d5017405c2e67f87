"""Sheets: rows, then distinct, sorted, limited, then laid out or folded (CONTRACT section 4)."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import WrongDocument, WrongWords
from gateway.extract import pipeline
from gateway.extract.paths import compile_open_path
from gateway.extract.pipeline import extract, lay_out
from gateway.extract.plan import Align, Cut, Field, Fold, Format, Kind, Plan, Record, Row, Sheet, Style
from gateway.extract.values import MISSING, JsonNumber, Value

CASES = Path(__file__).parents[2] / "cases"


def field(name: str, width: int, kind: Kind = Kind.TEXT, at: str | None = None, **options: Any) -> Field:
    path = at or f"$.{name}"
    return Field(name, width, kind, at=() if path == "-" else (compile_open_path(path),), **options)


def sheet(plan: Plan, body: Any, style: Style | None = None) -> Sheet:
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    return extract(data, "", None, plan, style or Style())


def texts(plan: Plan, body: Any, style: Style | None = None) -> list[str]:
    return [record.text for record in sheet(plan, body, style).records]


# Records


def test_fields_stand_side_by_side_with_one_blank_between() -> None:
    plan = Plan((field("t", 5, Kind.TIME), field("n", 6), field("m", 5, Kind.FIXED)))
    body = [
        {"t": "2024-05-01T04:12:00Z", "n": "high", "m": 3.1},
        {"t": "2024-05-01T10:31:00Z", "n": "low water", "m": 12345},
        {"n": None},
    ]
    assert sheet(plan, body) == Sheet(
        18,
        (
            Record("04:12 high    3.10"),
            Record("10:31 low wa *****", misfit=("m",), cut=("n",)),
            Record("      -           "),
        ),
        cuts=(("n", 1),),
        misfits=(("m", 1),),
    )


@pytest.mark.parametrize(("gap", "record"), [(0, "abcd"), (1, "ab cd"), (3, "ab   cd")])
def test_gap(gap: int, record: str) -> None:
    plan = Plan((field("x", 2), field("y", 2)), gap=gap)
    assert texts(plan, {"x": "ab", "y": "cd"}) == [record]
    assert plan.width == len(record)


def test_numbers_come_out_digit_for_digit() -> None:
    folder = CASES / "json-exact-numbers"
    expected = json.loads((folder / "expected.json").read_text("utf-8"))
    plan = Plan(tuple(Field(path, 25, at=(compile_open_path(path),)) for path in expected), gap=0)
    (record,) = texts(plan, (folder / "numbers.json").read_bytes())
    assert [record[start : start + 25].rstrip() for start in range(0, len(record), 25)] == list(
        expected.values()
    )


def test_four_things_stay_four_things_in_records() -> None:
    folder = CASES / "json-null-missing-one-or-many"
    words = {"<missing>": "?", "<null>": "-", "<empty>": ""}  # `missing` is told; the rest is the contract's
    plan = Plan((field("id", 1, Kind.INT), field("name", 5, missing="?")))
    expected = [
        f"{number} {words.get(name, name):5}"
        for number, name in json.loads((folder / "expected.json").read_text("utf-8"))["rows.json"]
    ]
    assert texts(plan, (folder / "rows.json").read_bytes()) == expected


def test_no_rows_are_no_records() -> None:
    plan = Plan((field("a", 5),), rows=compile_open_path("$.rows"))
    assert sheet(plan, {"other": 1}) == sheet(plan, {"rows": []}) == Sheet(5, ())


def test_the_row_itself() -> None:
    assert texts(Plan((field("ROW", 12, at="-"),)), b'[1.50,{"a":[1,null]},"x"]') == [
        "1.50        ",
        '{"a":[1,null',
        "x           ",
    ]


def test_style_s_zone_and_charset() -> None:
    plan = Plan((field("t", 5, Kind.TIME), field("n", 4)))
    body = {"t": "2024-05-01T23:30Z", "n": "Köln"}
    assert texts(plan, body) == ["23:30 Koln"]
    assert texts(plan, body, Style("latin1", "Europe/Berlin")) == ["01:30 Köln"]
    assert texts(plan, body) == ["23:30 Koln"]


def test_the_catalogue_s_letters() -> None:
    plan = Plan((field("n", 6, fill="."),), letters={"ö": "oe"})
    assert texts(plan, {"n": "Köln"}) == ["Koeln."]


def test_required() -> None:
    plan = Plan((field("a", 3), field("DEPTH", 3, required=True)))
    with pytest.raises(WrongDocument, match="DEPTH"):
        sheet(plan, [{"a": 1, "DEPTH": 2}, {"a": 1}])
    assert texts(plan, [{"a": 1, "DEPTH": None}]) == ["1   -  "]


# distinct, sort, descending, limit: in that order


def test_distinct_is_by_what_the_client_sees() -> None:
    plan = Plan((field("a", 4, Kind.INT), field("b", 3)), distinct=True)
    body = [{"a": 1, "b": "x"}, {"a": 1.2, "b": " x "}, {"a": 2, "b": "x"}, {"a": 1, "b": "x"}]
    assert texts(plan, body) == ["   1 x  ", "   2 x  "]


def test_sort_is_by_the_unrounded_value() -> None:
    plan = Plan((field("n", 3, Kind.INT), field("i", 1)), sort="n")
    body = [
        {"n": 1.4, "i": "a"},
        {"n": 1.3, "i": "b"},
        {"n": 10, "i": "c"},
        {"n": 9, "i": "d"},
        {"n": -1, "i": "e"},
    ]
    assert [text[-1] for text in texts(plan, body)] == list("ebadc")


@pytest.mark.parametrize(("descending", "order"), [(False, "dbacxyefg"), (True, "cabdyxefg")])
def test_missing_last_and_null_before_it_both_ways(descending: bool, order: str) -> None:
    plan = Plan((field("n", 3, Kind.INT), field("i", 1)), sort="N", descending=descending)
    body = [
        {"n": None, "i": "e"},
        {"n": 3, "i": "a"},
        {"i": "f"},
        {"n": "soon", "i": "x"},
        {"n": 2, "i": "b"},
        {"n": "soon?", "i": "y"},
        {"n": 30, "i": "c"},
        {"i": "g"},
        {"n": "1", "i": "d"},
    ]
    assert [text[-1] for text in texts(plan, body)] == list(order)


@pytest.mark.parametrize("descending", [False, True])
def test_sort_is_stable(descending: bool) -> None:
    plan = Plan((field("n", 1), field("i", 2, Kind.INT, fill="0")), sort="n", descending=descending)
    found = texts(plan, [{"n": "a", "i": number} for number in range(20)])
    assert found == [f"a {number:02d}" for number in range(20)]


def test_sort_of_dates_is_by_instant_and_of_text_case_blind() -> None:
    plan = Plan((field("t", 5, Kind.TIME), field("i", 1)), sort="t")
    repeated = [{"t": "2024-10-27T02:30+01:00", "i": "b"}, {"t": "2024-10-27T02:30+02:00", "i": "a"}]
    assert texts(plan, repeated, Style(zone="Europe/Berlin")) == ["02:30 a", "02:30 b"]
    words = Plan((field("w", 5),), sort="w")
    assert texts(words, [{"w": "b"}, {"w": "Äb"}, {"w": "a"}, {"w": "A"}]) == [
        "A    ",
        "a    ",
        "Ab   ",
        "b    ",
    ]


def test_sort_sees_what_map_and_scale_make() -> None:
    plan = Plan((field("n", 2, Kind.INT, scale=Decimal(-1)),), sort="n")
    assert texts(plan, [{"n": 1}, {"n": 2}]) == ["-2", "-1"]
    mapped = Plan((field("n", 2, Kind.INT, map={"few": "3"}),), sort="n")
    assert texts(mapped, [{"n": "few"}, {"n": 10}, {"n": 2}]) == [" 2", " 3", "10"]


def test_limit_says_that_rows_were_left_out() -> None:
    plan = Plan((field("n", 1),), limit=2)
    assert sheet(plan, [{"n": "a"}, {"n": "b"}]) == Sheet(1, (Record("a"), Record("b")), limited=False)
    assert sheet(plan, [{"n": "a"}, {"n": "b"}, {"n": "c"}]) == Sheet(
        1, (Record("a"), Record("b")), limited=True
    )


def test_distinct_then_sort_then_limit_then_fold() -> None:
    body = [{"n": 5}, {"n": 5}, {"n": 1}, {"n": 9}]
    plan = Plan((field("n", 2, Kind.INT),), distinct=True, sort="n", descending=True, limit=2)
    assert texts(plan, body) == [" 9", " 5"]
    folded = Plan(
        (field("n", 3, Kind.INT, fold=Fold.SUM),), distinct=True, sort="n", descending=True, limit=2
    )
    assert sheet(folded, body) == Sheet(3, (Record(" 14"),), limited=True)


def test_a_sort_by_no_field() -> None:
    with pytest.raises(WrongWords):
        sheet(Plan((field("n", 1),), sort="m"), [])


# fold


def test_fold_makes_one_record_of_all_rows() -> None:
    plan = Plan(
        (
            field("COUNT", 3, Kind.INT, "$.n", fold=Fold.COUNT),
            field("SUM", 6, Kind.FIXED, "$.n", fold=Fold.SUM),
            field("MEAN", 6, Kind.FIXED, "$.n", fold=Fold.MEAN, decimals=3),
            field("MIN", 5, Kind.TIME, "$.t", fold=Fold.MIN),
            field("MAX", 5, Kind.TIME, "$.t", fold=Fold.MAX),
            field("FIRST", 4, at="$.w", fold=Fold.FIRST),
            field("LAST", 4, at="$.w", fold=Fold.LAST),
        )
    )
    body = [
        {"n": 0.1, "t": "2024-05-01T12:00+02:00", "w": "pier"},
        {"n": 0.2, "t": "2024-05-01T10:30Z", "w": "quayside"},
        {"n": None, "t": "2024-05-01T09:00Z"},
        {"t": None, "w": None},
    ]
    assert sheet(plan, body).records == (Record("  2   0.30  0.150 09:00 10:30 pier quay", cut=("LAST",)),)


def test_fold_of_no_rows_is_one_record() -> None:
    plan = Plan(
        (field("C", 3, Kind.INT, fold=Fold.COUNT), field("S", 3, Kind.INT, fold=Fold.SUM, missing="no"))
    )
    assert texts(plan, []) == ["  0  no"]


def test_an_unreadable_number_in_a_sum() -> None:
    plan = Plan((field("n", 4, Kind.INT, fold=Fold.SUM),))
    assert sheet(plan, [{"n": 1}, {"n": "soon"}]).records == (Record("****", misfit=("n",)),)


# Other documents


def test_xml_numbers_and_flags() -> None:
    plan = Plan(
        (
            field("d", 6, Kind.FIXED, "depth"),
            field("o", 1, Kind.FLAG, "@open"),
            field("h", 4, Kind.HEX, "id"),
        ),
        rows=compile_open_path("/l/i"),
    )
    body = b"<l><i open='yes'><depth> 2.345 </depth><id>255</id></i><i open='false'><depth/></i></l>"
    assert texts(plan, body) == ["  2.35 1 00FF", "****** 0     "]


def test_csv() -> None:
    plan = Plan((field("n", 5, at="name"), field("d", 5, Kind.FIXED, "depth")), Format.CSV, sort="d")
    assert texts(plan, "name,depth\nQuay,10\nBär,9.5\n".encode()) == ["Bar    9.50", "Quay  10.00"]


# Whatever comes

scalars = (
    st.none()
    | st.booleans()
    | st.text(max_size=30)
    | st.integers(-(10**30), 10**30)
    | st.floats(allow_nan=False, allow_infinity=False)
)
documents = st.recursive(
    scalars,
    lambda deeper: (
        st.lists(deeper, max_size=4) | st.dictionaries(st.sampled_from(["a", "b", "\r\n"]), deeper)
    ),
    max_leaves=12,
)
A_PATH = compile_open_path("$.a")
fields = st.builds(
    Field,
    name=st.sampled_from(["A", "B"]),
    width=st.integers(1, 30),
    kind=st.sampled_from(Kind),
    at=st.sampled_from([(), (A_PATH,), (compile_open_path("$.b"), compile_open_path("$..a"))]),
    align=st.none() | st.sampled_from(Align),
    fill=st.none() | st.sampled_from(["0", ".", "\n", "é"]),
    cut=st.sampled_from(Cut),
    out_pattern=st.none() | st.sampled_from(["%d\r\n%m", "%A %j"]),
)  # fmt: skip
plans = st.builds(
    Plan,
    fields=st.lists(fields, min_size=1, max_size=4).map(tuple),
    format=st.just(Format.JSON),
    rows=st.none() | st.just(A_PATH) | st.just(compile_open_path("$..*")),
    distinct=st.booleans(),
    sort=st.none() | st.just("A"),
    descending=st.booleans(),
    limit=st.none() | st.integers(0, 3),
    gap=st.integers(0, 3),
    letters=st.sampled_from([{}, {"ü": "\r\n200 00001 040 .."}]),
)


@given(plans, documents, st.sampled_from(["ascii", "latin1", "cp437"]), st.sampled_from([None, *Fold]))
def test_no_document_forges_a_line(plan: Plan, body: Any, charset: str, how: Fold | None) -> None:
    if plan.sort and all(each.name != "A" for each in plan.fields):
        return
    made = (
        [Field(each.name, each.width, each.kind, each.at, fold=how) for each in plan.fields]
        if how
        else plan.fields
    )
    plan = Plan(
        tuple(made),
        plan.format,
        plan.rows,
        distinct=plan.distinct,
        sort=plan.sort,
        descending=plan.descending,
        limit=plan.limit,
        gap=plan.gap,
        letters=plan.letters,
    )
    found = extract(json.dumps(body).encode(), "", None, plan, Style(charset, "America/St_Johns"))
    assert found.width == plan.width
    for record in found.records:
        assert len(record.text) == plan.width
        assert record.text.isprintable()
        assert len(record.text.encode(charset)) == plan.width
    if how:
        assert len(found.records) == 1


@given(
    st.lists(st.sampled_from([MISSING, None, "b", "a", JsonNumber("2"), JsonNumber("10"), "3"]), max_size=12),
    st.sampled_from(Kind),
    st.booleans(),
)
def test_sorting_loses_nothing(column: list[Value], kind: Kind, descending: bool) -> None:
    plan = Plan((Field("A", 3, kind),), sort="A", descending=descending)
    unsorted = Plan((Field("A", 3, kind),))
    rows = [Row((value,)) for value in column]
    found = [record.text for record in lay_out(rows, plan, Style()).records]
    assert sorted(found) == sorted(record.text for record in lay_out(rows, unsorted, Style()).records)
    missing = sum(value is MISSING for value in column)
    assert found[len(found) - missing :] == ["   "] * missing


def test_only_so_many_plans_are_kept_ready(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "PREPARED_PLANS", 3)
    monkeypatch.setattr(pipeline, "_recent", {})
    plans = [Plan((Field("A", width, at=(compile_open_path("$"),)),)) for width in range(1, 6)]
    for plan in (*plans, *plans):
        sheet = extract(b"7", "application/json", None, plan, Style())
        assert sheet.records == (Record("7".ljust(plan.fields[0].width)),)
        assert len(pipeline._recent) <= 3
