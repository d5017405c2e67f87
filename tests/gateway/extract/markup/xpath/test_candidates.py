"""Work is counted and bounded: paths that run away, and honest ones over large documents."""

import time

import pytest

from adapters import limits
from adapters.errors import TooLarge
from gateway.extract.markup import Markup, compile_xpath, parse_xml
from gateway.extract.markup.nodes import Work

ROWS = 4_000
WIDE = (
    "<r>" + "".join(f'<a i="{i}"><t>x{i}</t><u><v>{i}</v></u></a>' for i in range(ROWS)) + "</r>"
).encode()
DEEP = ("<r>" + ("<a>" * 150 + "x" + "</a>" * 150) * 100 + "</r>").encode()


def spent(path: str, markup: Markup) -> int:
    before = markup.work.left
    compile_xpath(path).select(markup, markup)
    return before - markup.work.left


@pytest.mark.parametrize(
    ("path", "matches"),
    [
        ("//@i//t[1]", 0),  # an attribute has no children (section 5.3)
        ("//a", ROWS),
        ("//a//v", ROWS),
        ("//*//*", 4 * ROWS),
        ("//a/t | //a/u", 2 * ROWS),
        ("//v/ancestor::*", 2 * ROWS + 1),
        ("//v/..", ROWS),
        ("//a/following-sibling::a", ROWS - 1),
        ("//a/following-sibling::none", 0),
        ("//a/preceding-sibling::a", ROWS - 1),
        ("//a/following-sibling::a[1]", ROWS - 1),
        ("//a/preceding-sibling::a[1]", ROWS - 1),
        ("//a/following::v", ROWS - 1),
        ("//a/preceding::v", ROWS - 1),
        ("//v/following::t[1]", ROWS - 1),
        ("//a[1]", 1),
        ("//a[last()]", 1),
        ("//a[@i = 77]", 1),
        ("//a[u/v > 3990]", 9),
        ("//*[count(//*) > 1]", 4 * ROWS + 1),
        ("//a[count(.//*) = 3]", ROWS),
        ("//text()", 2 * ROWS),
        ("//@*", ROWS),
        ("//*/ancestor-or-self::*/descendant-or-self::*", 4 * ROWS + 1),
    ],
)
def test_honest_paths_cost_in_proportion_to_the_document(path: str, matches: int) -> None:
    """About a dozen steps for an element: far from the square, which libxml2 takes for some of these."""
    markup = parse_xml(WIDE)
    assert spent(path, markup) <= 12 * markup.elements
    assert len(compile_xpath(path).select(markup, markup)) == matches


@pytest.mark.parametrize(
    "path", ["//a", "//a//a", "//a//a//a", "//a[.//a]", "//a/ancestor::a", "//a[1]", "//a[a]"]
)
def test_depth_costs_no_more_than_depth(path: str) -> None:
    markup = parse_xml(DEEP)
    assert spent(path, markup) <= 150 * markup.elements


@pytest.mark.parametrize(
    "path",
    [
        "count(//a[count(../a) > 1])",
        "//a/following-sibling::none[1]",
        "count(//a[count(preceding-sibling::a) = count(following-sibling::a)])",
        "//a[. = //none/.. | //v]",
        "//*[..//*[..//*[..//*]]]",
        "//*[string(/) = 'q']",
        "//*[translate(/, /, /) = 'q']",
        "//*[contains(concat(/, /, /), concat(/, 'q'))]",
        "//a[id(/) = 'q']",
        "//*[//*[. = //*]]",
    ],
)
def test_a_path_that_runs_away_is_stopped(path: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With an eighth of the limit, so that the tests do not take eight times as long."""
    monkeypatch.setattr(limits, "MARKUP_STEPS", limits.MARKUP_STEPS // 8)
    markup = parse_xml(WIDE)
    begun = time.process_time()
    with pytest.raises(TooLarge, match="Too much work for one document") as caught:
        compile_xpath(path).select(markup, markup)
    assert caught.value.code == 552
    # Half a second each where this was written; the figure here only tells seconds from minutes.
    assert time.process_time() - begun < 15


def test_work_is_counted_over_all_paths_of_a_document(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MARKUP_STEPS", limits.MARKUP_STEPS // 8)
    markup = parse_xml(WIDE)
    path = compile_xpath("count(descendant::v[. = 1])")
    with pytest.raises(TooLarge):
        for _ in range(limits.MARKUP_STEPS // ROWS):
            path.select(markup, markup)
    assert Work().left == limits.MARKUP_STEPS


def test_too_many_matches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MATCHES", ROWS)
    markup = parse_xml(WIDE)
    assert len(compile_xpath("//a").select(markup, markup)) == ROWS
    with pytest.raises(TooLarge, match="The path selects too much"):
        compile_xpath("//a | /r").select(markup, markup)


def test_a_large_document_of_many_rows_stays_within_the_limit() -> None:
    """As many rows as the house allows, with four fields each."""
    body = b"<r>" + b'<a i="1"><t>x</t></a>' * (limits.MARKUP_ELEMENTS // 2 - 1) + b"</r>"
    markup = parse_xml(body)
    rows = compile_xpath(f"//a[position() <= {limits.ROWS}]").select(markup, markup)
    assert len(rows) == limits.ROWS
    for text in ("t", "@i"):
        path = compile_xpath(text)
        for row in rows[:20_000]:
            assert path.select(row, markup)
    cost = (limits.MARKUP_STEPS - markup.work.left) / limits.MARKUP_STEPS
    assert cost < 0.6
