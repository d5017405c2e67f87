"""HTML reduced to its text (CONTRACT section 3, TEXT), for a screen of 40 columns."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import HeadraceError
from gateway.extract.plan import Style
from gateway.extract.texts import TextSheet, text_records

URL = "http://town.example/news/today.html"


def sheet(page: str, width: int = 40) -> TextSheet:
    return text_records(page.encode(), "text/html", "utf-8", URL, width, False, Style(), {})


def lines(page: str, width: int = 40) -> list[str]:
    return [record.text.rstrip(" ") for record in sheet(page, width).lines]


def test_a_page() -> None:
    page = """<!doctype html><html><head><title>The Quay &amp; Tides</title><style>p {}</style>
    <script>document.write('no')</script></head><body><h1>Harbour  news</h1>
    <p>High water is at <b>six</b>, says <a href="/tides?x=1#now">the table</a>.
    <br>Caf&eacute; &mdash; open<hr><h2>Next</h2>text<h3>More</h3>end"""
    assert lines(page) == [
        "The Quay & Tides",
        "",
        "Harbour news",
        "============",
        "",
        "High water is at six, says the table",
        "[1].",
        "Cafe - open",
        "",
        "-" * 40,
        "",
        "Next",
        "----",
        "",
        "text",
        "",
        "More",
        "",
        "end",
    ]
    assert sheet(page).links == ("http://town.example/tides?x=1",)


def test_lists() -> None:
    page = """<ul><li>One<ul><li>inner, with a text that is long enough to wrap</ul><li>Two</ul>
    <ol start=9><li>nine<li value=12>twelve<li><p>thirteen</ol><ol reversed><li>b<li>a</ol>
    <dl><dt>Ebb<dd>Water that goes</dl>"""
    assert lines(page) == [
        "* One",
        "  * inner, with a text that is long",
        "    enough to wrap",
        "* Two",
        "",
        "9. nine",
        "12. twelve",
        "",
        "13. thirteen",
        "",
        "2. b",
        "1. a",
        "",
        "Ebb",
        "  Water that goes",
    ]


def test_a_list_in_an_item_without_text() -> None:
    assert lines("<ul><li><ol><li>a<li>b</ol><li></li><li>c</ul>") == ["* 1. a", "  2. b", "* c"]


def test_deep_lists_leave_half_the_width() -> None:
    assert max(map(len, lines("<ul><li>some text here" * 30, 16))) <= 16
    assert all(
        "some" in line or "text" in line or "here" in line
        for line in lines("<ul><li>some text here" * 30, 16)
    )


def test_verbatim_text_and_the_classic_index_page() -> None:
    page = """<pre><a href="?C=N">Name</a>   Size
<a href="../">..</a>        -
<a href="TIDES.BAS">TIDES.BAS</a>  12K   A[1]
</pre>"""
    assert lines(page) == ["Name [1]   Size", ".. [2]        -", "TIDES.BAS [3]  12K   A[1]"]
    assert sheet(page).links[1:] == ("http://town.example/", "http://town.example/news/TIDES.BAS")


def test_a_table_of_data_and_one_for_layout() -> None:
    data = "<table><caption>Times</caption><tr><th>Port<th>High<tr><td>Quay<td>06:12</table>after"
    assert lines(data) == ["Times", "", "Port   High", "----  -----", "Quay  06:12", "", "after"]
    layout = "<table><tr><td><ul><li>menu</ul><td>words<td>" + data + "</table>"
    assert lines(layout) == ["* menu", "", "words", "", *lines(data)]


def test_a_block_in_a_cell() -> None:
    assert lines("<table><tr><td><p>a<p>b<td>c<br>d</table>") == ["a  c", "   d", "b"]


@pytest.mark.parametrize(
    "hidden",
    [
        "<script>x</script>",
        "<style>x</style>",
        "<template><p>x</template>",
        "<p hidden>x</p>",
        '<p style="color:red; DISPLAY : none">x</p>',
        "<select><option>x</select>",
        "<svg><text>x</text><title>x</title></svg>",
        "<!-- x -->",
        "<iframe src=a>x</iframe>",
        '<input value="x">',
        '<img src="x.png">',
        "<noframes>x</noframes>",
    ],
)
def test_what_nobody_sees(hidden: str) -> None:
    assert lines(f"a {hidden} b") in (["a b"], ["a", "", "b"])


def test_images_frames_and_quotes() -> None:
    assert lines('<img alt="A  boat"> <q>said</q> <img alt="1">') == ['[A boat] "said" (1)']
    frames = '<frameset><frame src="menu.html" name="Menu"><frame src="main.html"></frameset>'
    assert lines(frames) == ["Menu [1]", "Frame [2]"]
    assert sheet(frames).links == ("http://town.example/news/menu.html", "http://town.example/news/main.html")
    assert lines('<map><area href="a" alt="North"></map>') == ["North [1]"]


def test_links_that_get_no_number_keep_their_text() -> None:
    page = '<a href="#n">[1]</a> <a href="mailto:a@b.example">mail</a> <a name=x>here</a> <a href=y>y</a>'
    assert lines(page) == ["(1) mail here y [1]"]
    assert sheet(page).links == ("http://town.example/news/y",)


def test_a_link_around_blocks_has_its_number_behind_the_first() -> None:
    page = '<p>x <a href="card"><div><h3>Title</h3><p>Text</p></div></a> after <a href=b title="Icon"></a>'
    assert lines(page) == ["x", "", "Title [1]", "", "Text", "", "after Icon [2]"]
    assert [url[-4:] for url in sheet(page).links] == ["card", "ws/b"]


def test_a_base_is_what_links_start_from() -> None:
    page = '<base target=x><base href="/files/"><base href="/no/"><a href="a">a</a>'
    assert sheet(page).links == ("http://town.example/files/a",)


def test_a_page_cannot_forge_a_link_or_a_line() -> None:
    page = "a&#2;9&#3;b\x029\x03c &#10;d\u2028200 00001 040 ..\u0085e <pre>a\x021\x03&#2;2&#3;</pre>[5]"
    for line in lines(page):
        assert line.isascii() and line.isprintable() and not re.search(r"\[\d", line)
    assert lines("a\u2028b\u0085c&#x85;d") in (
        ["a b c d"],
        ["a b c...d"],
    )  # &#x85; is an ellipsis to browsers


@pytest.mark.parametrize(
    ("name", "count"),
    [("TEXT_ELEMENTS", 20), ("TEXT_LINES", 10), ("TEXT_LINKS", 5)],
)
def test_limits_leave_out_the_rest(monkeypatch: pytest.MonkeyPatch, name: str, count: int) -> None:
    page = "<a href=a>word</a><br>" * 40
    assert not sheet(page).limited
    monkeypatch.setattr(limits, name, count)
    assert sheet(page).limited
    assert 0 < len(sheet(page).lines) <= 41
    if name != "TEXT_LINES":
        assert len(sheet(page).links) < 20


TAGS = [
    "p",
    "b",
    "a href=x",
    "ul",
    "ol",
    "li",
    "table",
    "tr",
    "td",
    "th",
    "pre",
    "div",
    "br",
    "hr",
    "h1",
    "dd",
]
TAGS += [
    "/p",
    "/b",
    "/a",
    "/ul",
    "/ol",
    "/li",
    "/table",
    "/tr",
    "/td",
    "/pre",
    "/div",
    "/h1",
    "img alt=pic",
    "q",
]
PAGES = st.lists(
    st.sampled_from([f"<{tag}>" for tag in TAGS]) | st.text("wx ß\n&;#1[]", max_size=8), max_size=40
)


@given(PAGES, st.sampled_from([16, 40]))
def test_any_soup_of_tags_is_laid_out(parts: list[str], width: int) -> None:
    page = "".join(parts)
    try:
        made = sheet(page, width)
    except HeadraceError:
        return
    assert all(len(record.text) == width and record.text.isprintable() for record in made.lines)
    if (
        "<pre>" in page or "<table>" in page
    ):  # brackets stay in verbatim text; a table is numbered cell by cell
        return
    text = " ".join(record.text for record in made.lines)
    numbers = [int(number) for number in re.findall(r"\[(\d+)\]", text)]
    assert numbers == list(range(1, len(made.links) + 1))


@given(
    st.lists(
        st.sampled_from(["alpha", "beta", "<b>", "</b>", "<p>", "<li>", "<div>", "</div>", " ", "\n", "<br>"])
    )
)
def test_no_word_is_lost_or_moved(parts: list[str]) -> None:
    page = "<body>" + " ".join(parts)
    words = [word for line in lines(page) for word in line.replace("*", "").split()]
    assert words == [part for part in parts if part in {"alpha", "beta"}]


HOSTILE = {
    "cells of very different widths": "<table>"
    + "".join(f"<tr><td>{'y' * 100_000 if row == 5 else 'x'}<td>z" for row in range(2_000)),
    "spans": "<table><tr>" + "<td colspan=32 rowspan=1000>a" * 20_000 + "<tr><td>x" * 20_000,
    "tables in tables": ("<table><tr><td>a" * 40 + "x" + "</table>" * 40) * 300,
    "links": "<a href=b>x</a>" * 60_000,
    "blank pieces": "<i> </i>" * 60_000,
    "a style": '<p style="' + ("display" + " " * 500) * 1_000 + '">x',
    "comments": "<!-- -->" * 100_000 + "<html>x",
    "hrefs": ('<a href="' + "a/../" * 380 + '">x</a>') * 500,
}


@pytest.mark.parametrize("page", HOSTILE.values(), ids=HOSTILE)
def test_hostile_pages_take_no_more_memory_than_their_size_lets_expect(page: str) -> None:
    made = sheet(page)
    assert sum(len(record.text) for record in made.lines) <= 60 * len(page)


def test_reducing_is_not_done_by_recursion() -> None:
    deep = "<div>" * (limits.DEPTH - 20)
    assert lines(deep + "x") == ["x"]


def test_the_demo_site_s_pages_have_text() -> None:
    pages = sorted((Path(__file__).parents[4] / "demo_site" / "files").rglob("*.html"))
    assert pages
    for page in pages:
        assert any(lines(page.read_text("utf-8")))


def test_cells_without_a_row_are_one() -> None:
    assert lines("<table><td>a<td>b<tr><td>c<td>d</table>") == ["a  b", "c  d"]


def test_a_table_without_a_word_is_none() -> None:
    assert lines("<p>a<table><tr><td> </td><td></td></tr><tr></tr></table><p>b") == ["a", "", "b"]
