"""The picture: valid XML by lxml, and its lines are the run's."""

import re
from dataclasses import replace

import pytest
from lxml import etree

from gateway.serial.framing import Framing, cycles
from gateway.serial.machine import Machine, Receiver
from gateway.serial.report.chart import Chart, chart_of
from gateway.serial.report.svg import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, svg
from gateway.serial.simulation import simulate
from gateway.serial.way import Way
from gateway.wire.settings import Settings

SPACE = "{http://www.w3.org/2000/svg}"


def elements(picture: str, name: str) -> list[etree._Element]:
    return list(etree.fromstring(picture.encode()).iter(SPACE + name))


def texts(picture: str, name: str) -> list[str]:
    return [each.text or "" for each in elements(picture, name)]


def paths(picture: str) -> dict[str, str]:
    """The paths that have names."""
    return {each.get("id", ""): each.get("d", "") for each in elements(picture, "path")}


def run_chart(lines: int) -> Chart:
    machine = Machine(
        Receiver.INTERRUPT, byte_seconds=cycles(2_000), record_seconds=cycles(30_000), buffer_bytes=64
    )
    way = Way(Framing(9_600), machine, Settings(eol="cr"))
    return chart_of(way, simulate(way, [b"x" * 39 + b"\r"] * lines, trace=True))


def path_points(picture: str, name: str) -> list[tuple[float, float]]:
    """The path's corners after its start, on the paper."""
    return [(float(x), float(y)) for x, y in re.findall(r"H([\d.]+)V([\d.]+)", paths(picture)[name])]


def test_every_change_of_a_short_run_is_a_corner_of_the_line() -> None:
    chart = run_chart(5)
    assert chart.losses
    points = path_points(svg(chart), "waiting")
    assert len(points) == len(chart.points)
    for (x, y), (seconds, size) in zip(points, chart.points, strict=True):
        assert abs(LEFT + seconds / chart.end * (RIGHT - LEFT) - x) < 0.006
        assert abs(BOTTOM - size / chart.top * (BOTTOM - TOP) - y) < 0.006


def test_of_a_long_run_the_corners_are_among_the_changes_and_few() -> None:
    chart = run_chart(400)
    picture = svg(chart)
    assert len(chart.points) > 10_000
    end, top = chart.end, chart.top  # which are looked for among all points
    places = {
        (round(LEFT + seconds / end * (RIGHT - LEFT), 2), round(BOTTOM - size / top * (BOTTOM - TOP), 2))
        for seconds, size in chart.points
    }
    near = {(round(x, 1), round(y, 1)) for x, y in places}
    points = path_points(picture, "waiting")
    assert 1_000 < len(points) <= 6_000
    assert sum((round(x, 1), round(y, 1)) in near for x, y in points) > 0.99 * len(points)
    assert min(y for _, y in points) == TOP
    assert len(picture) < 200_000
    assert "average" in paths(picture)


def test_axes_units_title_and_legend_are_there() -> None:
    chart = run_chart(5)
    picture = svg(chart)
    words = texts(picture, "text")
    assert words[0] == chart.title
    for each in (
        "time in seconds",
        "bytes in the buffer",
        "room for 64",
        "bytes lost",
        "as fast as the link",
    ):
        assert each in words
    assert words.count("bytes in the buffer") == 2  # the axis and the legend
    assert texts(picture, "title") == [chart.title]
    assert f"{len(chart.losses)} bytes lost" in texts(picture, "desc")[0]


def test_nothing_is_fetched_and_dark_is_dark() -> None:
    picture = svg(run_chart(5))
    assert set(re.findall(r"https?://[^\"' ]+", picture)) == {"http://www.w3.org/2000/svg"}
    assert "prefers-color-scheme: dark" in picture
    for word in ("<script", "<image", "href", "@import", "url("):
        assert word not in picture


def test_everything_is_on_the_paper() -> None:
    picture = svg(run_chart(5))
    for each in elements(picture, "text"):
        assert 0 <= float(each.get("x", "nan")) <= WIDTH
        assert 0 <= float(each.get("y", "nan")) <= HEIGHT
    for each in elements(picture, "path"):
        for x, y in re.findall(r"[ML]([\d.]+) ([\d.]+)", each.get("d", "")):
            assert 0 <= float(x) <= WIDTH
            assert 0 <= float(y) <= HEIGHT
    (root,) = elements(picture, "svg")
    assert root.get("viewBox") == f"0 0 {WIDTH} {HEIGHT}"


@pytest.mark.parametrize("end", [0.0, 1e-6, 1e5])
def test_words_are_escaped_and_an_empty_chart_is_drawn(end: float) -> None:
    chart = replace(run_chart(1), title="a < b & c", points=[], losses=[], end=end)
    assert texts(svg(chart), "title") == ["a < b & c"]
