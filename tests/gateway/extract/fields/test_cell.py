"""Cells: CONTRACT section 4 "Values", sentence by sentence."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import WrongWords
from gateway.extract.fields.cell import Cell, Fit, Group, make_cell
from gateway.extract.fields.text import Lettering
from gateway.extract.plan import Align, Cut, Field, Kind
from gateway.extract.values import MISSING, JsonNumber, JsonValue, Value

LETTERINGS = {name: Lettering(name) for name in ("ascii", "latin1", "cp437")}
NUMBER_KINDS = [Kind.INT, Kind.FIXED, Kind.HEX]


def cell(kind: Kind, width: int, zone: str = "UTC", **options: Any) -> Cell:
    return make_cell(Field("X", width, kind, **options), LETTERINGS["ascii"], zone)


def laid(kind: Kind, width: int, value: Value, **options: Any) -> tuple[str, Fit]:
    prepared = cell(kind, width, **options)
    text, fit = prepared.lay(prepared.resolve(value))
    return text, fit


def shown(kind: Kind, width: int, value: Value, **options: Any) -> str:
    return laid(kind, width, value, **options)[0]


def number(literal: str) -> JsonNumber:
    return JsonNumber(literal)


# "A number keeps the digits the server sent: no binary rounding, no exponent, no thousands separator."


@pytest.mark.parametrize(
    ("literal", "text"),
    [
        ("9007199254740993", "9007199254740993"),
        ("0.10", "0.10"),
        ("1.5e+10", "15000000000"),
        ("-2.5E-10", "-0.00000000025"),
        ("1234567.5", "1234567.5"),
        ("-0", "0"),
    ],
)
def test_a_number_in_text_keeps_its_digits(literal: str, text: str) -> None:
    assert shown(Kind.TEXT, 20, number(literal)) == text.ljust(20)
    assert shown(Kind.CODE, 20, number(literal)) == text.ljust(20)


@pytest.mark.parametrize("text", ["007", "1e3", "+5", "1.50"])
def test_text_that_looks_like_a_number_stays_text(text: str) -> None:
    assert shown(Kind.TEXT, 6, text) == text.ljust(6)


# "int and fixed (2 decimals unless told) round half away from zero on the decimal text; minus zero is zero."


@pytest.mark.parametrize(
    ("kind", "value", "text", "options"),
    [
        (Kind.INT, number("2.5"), "     3", {}),
        (Kind.INT, number("-2.5"), "    -3", {}),
        (Kind.INT, number("-0.4"), "     0", {}),
        (Kind.INT, number("7"), "     7", {}),
        (Kind.INT, " 007 ", "     7", {}),
        (Kind.INT, "+12.4", "    12", {}),
        (Kind.FIXED, number("1"), "  1.00", {}),
        (Kind.FIXED, number("2.675"), "  2.68", {}),
        (Kind.FIXED, number("-0.004"), "  0.00", {}),
        (Kind.FIXED, number("2.5"), "     3", {"decimals": 0}),
        (Kind.FIXED, "1.23456", "1.2346", {"decimals": 4}),
        (Kind.FIXED, number("12345"), "123.45", {"scale": Decimal("0.01")}),
        (Kind.INT, number("68"), "    20", {"offset": Decimal("-32"), "scale": Decimal("0.765")}),
        (Kind.FIXED, number("0.1"), " 27.42", {"offset": Decimal("27.32")}),
        (Kind.FIXED, number("7"), "007.00", {"fill": "0"}),
        (Kind.FIXED, number("-7"), "-07.00", {"fill": "0"}),
        (Kind.INT, number("-7"), "-00007", {"fill": "0", "align": Align.LEFT}),  # never -70000
        (Kind.INT, number("7"), "7     ", {"align": Align.LEFT}),
        (Kind.INT, number("7"), "  7   ", {"align": Align.CENTER}),
        (Kind.INT, number("7"), ".....7", {"fill": "."}),
        (Kind.INT, number("7"), "555557", {"fill": "5", "align": Align.CENTER}),
    ],
)  # fmt: skip
def test_int_and_fixed(kind: Kind, value: Value, text: str, options: dict[str, Any]) -> None:
    assert laid(kind, 6, value, **options) == (text, Fit.WHOLE)


# "A number that does not fit after rounding, or has more digits than the limit, fills its field with `*`"


@pytest.mark.parametrize(
    ("kind", "width", "value"),
    [
        (Kind.INT, 3, number("1000")),
        (Kind.INT, 3, number("999.5")),
        (Kind.INT, 1, number("-1")),
        (Kind.FIXED, 4, number("9.995")),
        (Kind.FIXED, 255, number("1e300")),
        (Kind.INT, 255, number("1e999999999")),
        (Kind.INT, 255, number("9" * 1001)),
        (Kind.HEX, 2, number("256")),
        (Kind.TEXT, 3, number("1000")),
        (Kind.TEXT, 3, number("0.10")),
        (Kind.CODE, 3, number("1000")),
        (Kind.TEXT, 255, number("1e999999999")),
        (Kind.DATE, 9, number("1e30")),  # no date, and as text too long a number
    ],
)
def test_a_number_that_does_not_fit(kind: Kind, width: int, value: Value) -> None:
    assert laid(kind, width, value) == ("*" * width, Fit.MISFIT)


# "never a shorter number; so does an int, fixed, flag or hex that cannot be read"


@pytest.mark.parametrize("kind", [*NUMBER_KINDS, Kind.FLAG])
@pytest.mark.parametrize("value", ["", "soon", "1,000", "12abc", [], {}, [JsonNumber("1")], "null"])
def test_what_cannot_be_read(kind: Kind, value: Value) -> None:
    assert laid(kind, 8, value) == ("********", Fit.MISFIT)


@pytest.mark.parametrize("kind", NUMBER_KINDS)
@pytest.mark.parametrize("value", [True, False])
def test_true_and_false_are_no_numbers(kind: Kind, value: bool) -> None:
    assert laid(kind, 4, value) == ("****", Fit.MISFIT)


# "Text is made ASCII ... then trimmed, then cut. Text is left-aligned. `code` is text that is never cut"


def test_text_and_code() -> None:
    assert laid(Kind.TEXT, 8, " Straße\r\n") == ("Strasse ", Fit.WHOLE)
    assert laid(Kind.TEXT, 6, "Straße") == ("Strass", Fit.CUT)
    assert laid(Kind.CODE, 7, "Straße") == ("Strasse", Fit.WHOLE)
    assert laid(Kind.CODE, 6, "Straße") == ("******", Fit.MISFIT)


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({}, "the long q"),
        ({"cut": Cut.START}, "long quay "),
        ({"cut": Cut.START, "align": Align.RIGHT}, " long quay"),
        ({"cut": Cut.WORD}, "the long  "),
        ({"cut": Cut.WORD, "fill": "."}, "the long.."),
    ],
)
def test_the_side_that_is_cut(options: dict[str, Any], text: str) -> None:
    assert laid(
        Kind.TEXT,
        10,
        "the long quay"[0:13] if options.get("cut") is not Cut.START else "by a long quay",
        **options,
    ) == (text, Fit.CUT)


def test_a_fill_pads_text_too() -> None:
    assert shown(Kind.TEXT, 6, "ab", fill=".") == "ab...."
    assert shown(Kind.TEXT, 6, "ab", fill="…") == "ab    "  # three characters are no fill


# "`hex` is an integer in base 16, upper case, zero-filled."


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (number("255"), "00FF"),
        ("48879", "BEEF"),
        (number("0"), "0000"),
        (number("16.0"), "0010"),
        (number("-0"), "0000"),
    ],
)
def test_hex(value: Value, text: str) -> None:
    assert laid(Kind.HEX, 4, value) == (text, Fit.WHOLE)


@pytest.mark.parametrize("value", [number("-1"), number("1.5"), "FF", "0x1F"])
def test_no_hex(value: Value) -> None:
    assert laid(Kind.HEX, 4, value) == ("****", Fit.MISFIT)


def test_hex_is_asked_for_whole_numbers_after_scaling() -> None:
    assert shown(Kind.HEX, 4, number("2.55"), scale=Decimal("100")) == "00FF"
    assert shown(Kind.HEX, 4, number("255"), scale=Decimal("0.1")) == "****"


# "Missing is blanks; null is `-`, aligned as its kind; a string "null" is that word"


@pytest.mark.parametrize("kind", Kind)
def test_missing_and_null(kind: Kind) -> None:
    right = kind in {*NUMBER_KINDS, Kind.FLAG}
    assert laid(kind, 5, MISSING) == ("     ", Fit.WHOLE)
    assert laid(kind, 5, None) == ("    -" if right else "-    ", Fit.WHOLE)
    assert laid(kind, 5, None, fill="0") == laid(kind, 5, None)
    assert laid(kind, 5, MISSING, missing="?") == ("    ?" if right else "?    ", Fit.WHOLE)
    assert laid(kind, 5, None, null="none", align=Align.CENTER) == ("none ", Fit.WHOLE)
    assert laid(kind, 2, None, null="none") == ("no", Fit.CUT)


def test_the_four_things_stay_apart() -> None:
    values: list[Value] = [MISSING, None, "", "null", False, number("0")]
    assert [shown(Kind.TEXT, 5, value, missing="?") for value in values] == [
        "?    ",
        "-    ",
        "     ",
        "null ",
        "false",
        "0    ",
    ]


# "true/false are 1/0 for flag and the words for text"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        *[(value, " 1") for value in (True, "true", "YES", "On", "1", number("1"), number("1.0"), " yes ")],
        *[(value, " 0") for value in (False, "False", "no", "off", "0", number("0"), number("-0"))],
    ],
)
def test_flag(value: Value, text: str) -> None:
    assert laid(Kind.FLAG, 2, value) == (text, Fit.WHOLE)


@pytest.mark.parametrize("value", [number("2"), "Y", "maybe", "", "truetruetruetrue"])
def test_no_flag(value: Value) -> None:
    assert laid(Kind.FLAG, 1, value) == ("*", Fit.MISFIT)


def test_the_words_for_text() -> None:
    assert shown(Kind.TEXT, 5, True) + shown(Kind.CODE, 5, False) == "true false"
    assert laid(Kind.CODE, 4, False) == ("****", Fit.MISFIT)


# "An object or array as text: compact JSON."


def test_containers_as_text() -> None:
    value: JsonValue = {"a": [JsonNumber("1.50"), None, True, "ü\n"], "b": {}}
    assert shown(Kind.TEXT, 40, value) == '{"a":[1.50,null,true,"u\\n"],"b":{}}'.ljust(40)


# Dates


@pytest.mark.parametrize(
    ("kind", "width", "value", "text", "options"),
    [
        (Kind.DATE, 10, "2024-05-01T23:30:00Z", "2024-05-01", {}),
        (Kind.DATE, 10, "2024-05-01T23:30:00Z", "2024-05-02", {"zone": "Europe/Berlin"}),
        (Kind.TIME, 5, "2024-05-01T23:30:15Z", "23:30", {}),
        (Kind.TIME, 7, "2024-05-01T23:30:15Z", "23:30  ", {}),
        (Kind.TIME, 8, "2024-05-01T23:30:15Z", "23:30:15", {}),
        (Kind.TIME, 5, "2024-05-01T23:30:15Z", "01:30", {"zone": "Europe/Berlin"}),
        (Kind.TIME, 5, "2024-05-01T23:30:15", "23:30", {"zone": "Europe/Berlin"}),
        (Kind.DATE, 10, "2024-05-01", "2024-05-01", {"zone": "Pacific/Kiritimati"}),
        (Kind.DATE, 10, number("1714557600"), "2024-05-01", {}),
        (Kind.TIME, 5, number("1714557600123"), "10:00", {}),
        (Kind.DATE, 10, "Tue, 1 Jul 2003 10:52:37 +0200", "2003-07-01", {}),
        (Kind.DATE, 10, "0987-06-05", "0987-06-05", {}),
        (Kind.DATE, 6, "2024-05-01", "01.05.", {"out_pattern": "%d.%m."}),
        (Kind.DATE, 8, "1.5.2024", "20240501", {"in_pattern": "%d.%m.%Y", "out_pattern": "%Y%m%d"}),
        (Kind.DATE, 10, number("20240501"), "2024-05-01", {"in_pattern": "%Y%m%d"}),
        (Kind.TIME, 5, "10.30", "10:30", {"in_pattern": "%H.%M"}),
        (Kind.DATE, 12, "2024-05-01", "1. Maerz 5", {"out_pattern": "%-d. März %-m"}),
        (Kind.DATE, 12, "2024-05-01", "  2024-05-01", {"align": Align.RIGHT}),
    ],
)  # fmt: skip
def test_dates(kind: Kind, width: int, value: Value, text: str, options: dict[str, Any]) -> None:
    prepared = make_cell(Field("X", width, kind, **options), Lettering("ascii", {"ä": "ae"}), "UTC")
    assert prepared.lay(value) == (text.ljust(width), Fit.WHOLE)


def test_written_in_the_field_s_zone_else_the_session_s() -> None:
    assert shown(Kind.TIME, 5, "2024-05-01T10:30Z", zone="Asia/Tokyo") == "19:30"
    field = Field("X", 5, Kind.TIME, zone="Asia/Kathmandu")
    assert make_cell(field, LETTERINGS["ascii"], "Asia/Tokyo").lay("2024-05-01T10:30Z").text == "16:15"


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        (Kind.DATE, "next week", "next week "),
        (Kind.DATE, "2024-02-30", "2024-02-30"),
        (Kind.DATE, "10:30", "10:30     "),  # a time has no date to show
        (Kind.DATE, "2024-05", "2024-05   "),  # nothing invents the day
        (Kind.DATE, "2024", "2024      "),
        (Kind.TIME, "2024-05-01", "2024-05-01"),  # and a date no time
        (Kind.DATE, True, "true      "),
        (Kind.DATE, number("1e18"), "*" * 10),
        (Kind.DATE, number("9e9999"), "*" * 10),
        (Kind.DATE, "0001-01-01T00:00:00+14:00", "0001-01-01"),
    ],
)
def test_an_unreadable_date_is_laid_out_as_text(kind: Kind, value: Value, text: str) -> None:
    assert shown(kind, 10, value) == text


def test_a_date_too_long_for_its_field_is_cut() -> None:
    assert laid(Kind.DATE, 7, "2024-05-01") == ("2024-05", Fit.CUT)


def test_a_zone_that_is_not_there() -> None:
    for zone in ("Nowhere/Town", "../etc/passwd", ""):
        with pytest.raises(WrongWords):
            cell(Kind.DATE, 10, zone=zone)


# `map`


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        (Kind.TEXT, "H", "HIGH"),
        (Kind.TEXT, " H\n", "HIGH"),
        (Kind.TEXT, "h", "h   "),
        (Kind.TEXT, number("1"), "one "),
        (Kind.TEXT, True, "yes "),
        (Kind.INT, "n/a", "   0"),  # looked up before the kind applies
        (Kind.FLAG, "open", "   1"),
        (Kind.TEXT, None, "-   "),
        (Kind.TEXT, "null", "word"),
        (Kind.INT, number("-999"), "?   ".strip().rjust(4)),
        (Kind.TEXT, ["H"], "list"),
    ],
)
def test_map(kind: Kind, value: Value, text: str) -> None:
    table = {
        "H": "HIGH",
        "1": "one",
        "true": "yes",
        "n/a": "0",
        "open": "1",
        "null": "word",
        "-999": "",
        '["H"]': "list",
    }
    assert shown(kind, 4, value, map=table, missing="?") == text


# Computed values and order


def test_computed_numbers() -> None:
    assert cell(Kind.FIXED, 6, scale=Decimal(10)).lay_number(Decimal("1.005")).text == "  1.01"
    assert cell(Kind.TEXT, 6).lay_number(Decimal("1.10")).text == "1.10  "
    assert cell(Kind.TIME, 5).lay_number(Decimal(12)).text == "12   "
    assert cell(Kind.HEX, 4).lay_number(Decimal(255)).text == "00FF"
    assert cell(Kind.INT, 2).lay_number(Decimal(100)) == ("**", Fit.MISFIT)
    assert cell(Kind.INT, 4).lay_number(Decimal("0e9999")).text == "   0"


def ordered(prepared: Cell, values: list[Value]) -> list[Value]:
    return sorted(values, key=prepared.order)


def test_order_of_numbers_dates_and_text() -> None:
    numbers: list[Value] = [number("10"), number("9.5"), "1e1", number("-3"), "x", None, MISSING]
    assert ordered(cell(Kind.INT, 3), numbers) == [
        numbers[3],
        numbers[1],
        numbers[0],
        "1e1",
        "x",
        None,
        MISSING,
    ]
    moments: list[Value] = ["2024-05-01T12:00+02:00", number("1714557600"), "2024-05-01T09:59Z", "soon"]
    assert ordered(cell(Kind.TIME, 5), moments) == [moments[2], moments[0], moments[1], "soon"]
    words: list[Value] = ["b", "A", "a", "Ärger", number("7"), "10"]
    assert ordered(cell(Kind.TEXT, 3), words) == [words[4], "10", "A", "a", "Ärger", "b"]


def test_groups() -> None:
    prepared = cell(Kind.INT, 3)
    groups = [prepared.order(value).group for value in (number("1"), "x", None, MISSING)]
    assert groups == [Group.READABLE, Group.UNREADABLE, Group.NULL, Group.MISSING]


# Whatever comes

literals = st.from_regex(r"-?(0|[1-9][0-9]{0,40})(\.[0-9]{1,20})?([eE][+-]?[0-9]{1,12})?", fullmatch=True)
scalars = (
    st.none() | st.booleans() | st.text() | literals.map(JsonNumber) | literals | st.datetimes().map(str)
)
values = st.just(MISSING) | st.recursive(
    scalars, lambda deeper: st.lists(deeper) | st.dictionaries(st.text(), deeper), max_leaves=8
)
markers = st.text(max_size=6)
fields = st.builds(
    Field,
    name=st.just("X"),
    width=st.integers(1, 255),
    kind=st.sampled_from(Kind),
    decimals=st.integers(0, 20),
    scale=st.none() | st.decimals(allow_nan=False, allow_infinity=False),
    offset=st.none() | st.decimals(allow_nan=False, allow_infinity=False),
    align=st.none() | st.sampled_from(Align),
    fill=st.none() | st.characters(),
    missing=markers,
    null=markers,
    map=st.dictionaries(st.text(max_size=2), st.text(max_size=4), max_size=2),
    in_pattern=st.none() | st.text("%dmYHMS zZ.", max_size=8),
    out_pattern=st.none() | st.text("%dmYHMSaAbjc\n\x85é", max_size=8),
    zone=st.none() | st.sampled_from(["Europe/Berlin", "Pacific/Kiritimati"]),
    cut=st.sampled_from(Cut),
)


@given(fields, values, st.sampled_from(sorted(LETTERINGS)))
def test_any_value_is_exactly_as_wide_and_printable(field: Field, value: Any, charset: str) -> None:
    prepared = make_cell(field, LETTERINGS[charset], "UTC")
    resolved = prepared.resolve(value)
    text, fit = prepared.lay(resolved)
    assert len(text) == field.width
    assert text.isprintable()
    assert len(text.encode(charset)) == field.width
    assert (fit is Fit.MISFIT) <= (text == "*" * field.width)
    prepared.order(resolved)


@pytest.mark.parametrize("kind", [Kind.TEXT, Kind.CODE])
def test_a_number_in_text_is_scaled_and_words_are_not(kind: Kind) -> None:
    assert shown(kind, 6, "2.5", scale=Decimal(4), offset=Decimal("0.25")) == "10.25 "
    assert shown(kind, 6, number("2.5"), scale=Decimal(4)) == "10.0  "
    assert shown(kind, 6, "slack", scale=Decimal(4)) == "slack "
