"""What stands beside a link: sizes if they are exact, times in the forms of servers (common practice)."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from adapters.http.index_cells import Beside, Tables, read_date


def beside(page: str) -> Beside:
    """What stands beside the link to `x`."""
    root = etree.fromstring(page, etree.HTMLParser())
    link = next(each for each in root.iter("a") if each.get("href") == "x")
    return Tables().beside(link)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("26-Nov-2026 01:55", (2026, 11, 26, 1, 55)),  # nginx
        ("2026-11-26 01:55", (2026, 11, 26, 1, 55)),  # Apache
        ("2026-Nov-26 01:55:07", (2026, 11, 26, 1, 55, 7)),  # lighttpd
        ("2026-11-26T01:55:07Z", (2026, 11, 26, 1, 55, 7)),  # RFC 3339
        ("2026-11-26T01:55:07.123456+01:30", (2026, 11, 26, 0, 25, 7)),
        ("2026-11-25 20:25 -0530", (2026, 11, 26, 1, 55)),
        ("Thu, 26 Nov 2026 01:55:07 GMT", (2026, 11, 26, 1, 55, 7)),  # RFC 9110 section 5.6.7
        ("26 November 2026, 01:55", (2026, 11, 26, 1, 55)),
        ("November 26, 2026", (2026, 11, 26)),
        ("2026-11-26", (2026, 11, 26)),
        ("2026/11/26 1:55", (2026, 11, 26, 1, 55)),
        ("2026-11-26 01:55 PM", (2026, 11, 26)),  # a clock that is not read is better than a wrong one
    ],
)
def test_dates(text: str, moment: tuple[int, ...]) -> None:
    year, month, day, hour, minute, second = (*moment, 0, 0, 0)[:6]
    assert read_date(f"  {text}  ")[0] == datetime(year, month, day, hour, minute, second, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "-",
        "11/12/2026 01:55",
        "2026-13-01 00:00",
        "2026-02-30",
        "1-Foo-2026",
        "12026-11-26",
        "x2026-11-26",
    ],
)
def test_no_dates(text: str) -> None:
    """Above all none whose day and month nobody can tell apart."""
    assert read_date(text)[0] is None


@given(st.text(max_size=60))
def test_any_text(text: str) -> None:
    read_date(text)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("5", 5),
        ("0", 0),
        ("123456789012", 123456789012),
        ("1,234,567", 1234567),
        ("900 B", 900),
        ("900 bytes", 900),
        ("1 byte", 1),
        ("1.2K", None),
        ("121K", None),
        ("4.0 MB", None),
        ("12 KiB", None),
        ("1.234", None),
        ("1,23", None),
        ("-", None),
        ("", None),
        ("text/plain", None),
        ("-5", None),
        ("9" * 30, None),
    ],
)
def test_sizes_only_where_they_are_exact(text: str, size: int | None) -> None:
    row = f"<tr><td><a href='x'>x</a></td><td>2026-11-26</td><td>{text}</td></tr>"
    assert beside(f"<table>{row}</table>").size == size
    heading = "<tr><th>Name</th><th>Date</th><th>Size</th></tr>"
    assert beside(f"<table>{heading}{row}</table>").size == size
    if text not in ("text/plain", "-5"):
        assert beside(f"<pre><a href='x'>x</a>   26-Nov-2026 01:55   {text}\n</pre>").size == size


def test_headings_tell_the_columns() -> None:
    row = "<tr><td><a href='x'>x</a></td><td>77</td><td>12</td><td>2026-11-26</td></tr>"
    told = "<tr><th>Name</th><th>Downloads</th><th>Size</th><th>Last modified</th></tr>"
    assert beside(f"<table>{told}{row}</table>").size == 12
    assert beside(f"<table>{told.replace('Size', 'Owner')}{row}</table>").size is None
    assert beside(f"<table>{told.replace('Size', 'Size (KB)')}{row}</table>").size is None
    assert beside(f"<table>{told.replace('<th>Name</th>', '')}{row}</table>").size == 77, (
        "they do not fit the row"
    )


def test_what_stands_before_the_link_is_not_its_size() -> None:
    assert beside("<table><tr><td>77</td><td><a href='x'>x</a></td><td>12</td></tr></table>").size == 12


def test_a_line_ends_where_it_ends() -> None:
    after = "\n26-Nov-2026 01:55 12\n"
    assert beside(f"<pre><a href='x'>x</a>{after}</pre>") == Beside()
    assert beside(f"<a href='x'>x</a><br>{after}") == Beside()
    assert beside(f"<a href='x'>x</a><a href='y'>y</a>{after}") == Beside()
    assert beside(f"<ul><li><a href='x'>x</a></li><li>{after}</li></ul>") == Beside()
    assert beside("<pre>26-Nov-2026 01:55 12 <a href='x'>x</a></pre>") == Beside()


def test_a_table_without_headings_that_tell_anything() -> None:
    row = "<tr><td><a href='x'>x</a></td><td>12</td></tr>"
    assert beside(f"<table><tr><th>Name</th><th>Owner</th></tr>{row}</table>").size == 12
    assert beside(f"<table><tr><td>no link</td></tr><tr></tr>{row}</table>").size == 12


def test_a_time_element_without_a_time_is_none() -> None:
    page = "<ul><li><a href='x'>x</a> <time>long ago</time></li></ul>"
    assert beside(page) == Beside()


def test_a_table_that_is_all_headings() -> None:
    """Pages whose every cell is a `th`: none of them tells what a column is, so cells count by themselves."""
    row = "<tr><th><a href='x'>x</a></th><th>2026-11-26 01:55</th><th>1234</th></tr>"
    assert beside(f"<table>{row}</table>") == Beside(1234, datetime(2026, 11, 26, 1, 55, tzinfo=UTC))
