import math
import tomllib
from datetime import UTC, datetime, timedelta, timezone

import pytest

from adapters.recorded.tree.table import Table, TextFault, printable, toml_values


def table(**values: object) -> Table:
    return Table(values, "a.", [])


def test_values_of_each_kind() -> None:
    made = table(text="x", number=3, flag=True, whole=2, part=0.5, time=datetime(2026, 5, 17, tzinfo=UTC))
    assert (made.text("text"), made.needed("text"), made.maybe("text")) == ("x", "x", "x")
    assert (made.number("number"), made.flag("flag")) == (3, True)
    assert (made.seconds("whole"), made.seconds("part")) == (2.0, 0.5)
    assert made.time("time") == datetime(2026, 5, 17, tzinfo=UTC)
    made.over()
    assert made.mistakes == []


def test_what_is_not_there() -> None:
    made = table()
    assert (made.text("x"), made.maybe("x"), made.number("x"), made.flag("x")) == ("", None, None, False)
    assert (made.seconds("x"), made.time("x"), made.table("x"), list(made.tables("x"))) == (0, None, None, [])
    assert made.headers() == ()
    assert made.mistakes == []
    assert made.needed("x") == ""
    assert made.mistakes == ["a.x: missing"]


@pytest.mark.parametrize(
    ("value", "getter", "mistake"),
    [
        (1, "text", "a.x: not a text"),
        ("1", "number", "a.x: not a whole number"),
        (True, "number", "a.x: not a whole number"),
        (1.5, "number", "a.x: not a whole number"),
        (-1, "number", "a.x: below 0"),
        (1, "flag", "a.x: not true or false"),
        (False, "seconds", "a.x: not a whole number"),
        ("1", "seconds", "a.x: not a number"),
        ("2026", "time", "a.x: not a time such as 2026-05-17T12:00:00Z"),
        (datetime(2026, 5, 17), "time", "a.x: a time without its zone, such as Z"),
        ([], "table", "a.x: not a table"),
        ("", "needed", "a.x: missing"),
        (1 << 63, "number", "a.x: too large"),
        (math.nan, "seconds", "a.x: no number of seconds"),
        (-math.inf, "seconds", "a.x: no number of seconds"),
        (1 << 63, "seconds", "a.x: no number of seconds"),
        (
            datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=1))),
            "time",
            "a.x: not in the years 1 to 9999 of UTC",
        ),
    ],
)
def test_what_is_wrong(value: object, getter: str, mistake: str) -> None:
    made = table(x=value)
    getattr(made, getter)("x")
    assert made.mistakes == [mistake]


def test_tables_tell_where_they_are() -> None:
    made = table(one={"deep": {"x": 1}}, many=[{"x": 1}, 2, {"x": 1}])
    one = made.table("one")
    deep = one.table("deep") if one is not None else None
    assert deep is not None
    for each in (deep, *made.tables("many")):
        each.over()
    assert made.mistakes == [
        "a.many[2]: not a table",
        "a.one.deep.x: there is no such key",
        "a.many[1].x: there is no such key",
        "a.many[3].x: there is no such key",
    ]


def test_headers() -> None:
    lines = [
        "Accept: text/plain",
        "Odd:no blank",
        "Two:  blanks ",
        "Empty:",
        "Latin: caf\xe9",
        "URL: http://a/",
    ]
    made = table(headers=lines)
    assert made.headers() == (
        ("Accept", "text/plain"),
        ("Odd", "no blank"),
        ("Two", " blanks "),
        ("Empty", ""),
        ("Latin", "caf\xe9"),
        ("URL", "http://a/"),
    )
    wrong = table(headers=["none", ": x", " A: x", "A: \n", "A: \u20ac", 7])
    assert wrong.headers() == ()
    assert len(wrong.mistakes) == 6


def test_a_byte_order_mark_does_not_count() -> None:
    """What some editors put before a text (The Unicode Standard, section 23.8)."""
    assert toml_values("\ufeffx = 1") == {"x": 1}


@pytest.mark.parametrize("text", ["x = " + "[" * 100_000, "x = " + "9" * 5_000])
def test_what_the_toml_library_cannot_take(text: str) -> None:
    with pytest.raises((ValueError, RecursionError)) as raised:
        tomllib.loads(text)
    assert not isinstance(raised.value, tomllib.TOMLDecodeError)
    with pytest.raises(TextFault, match="nested too deep, or a number too long"):
        toml_values(text)


def test_what_is_told_is_one_line_without_escapes() -> None:
    assert printable("a\x1b[2J\n\u202eb\u00e9\udce9") == "a\\x1b[2J\\n\\u202eb\u00e9\\udce9"
    made = Table({"\x1b[2J": 1}, "a.", [])
    made.over()
    assert made.mistakes == ["a.\\x1b[2J: there is no such key"]
