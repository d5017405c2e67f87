"""Chart -> lines of text: bars of what waited in each part of the time, on average and at most."""

import textwrap
from typing import Final

from gateway.serial.report.chart import Chart, bins, round_steps

_ROWS: Final = 10
_EIGHTHS: Final = " ▁▂▃▄▅▆▇█"
BLOCKS: Final = _EIGHTHS + "░×│└─"
"""What a terminal has to show for `blocks`."""


def drawn(chart: Chart, columns: int, blocks: bool) -> list[str]:
    """The chart in lines of at most `columns` characters; without `blocks` in ASCII alone.

    A full bar goes up to what waited in that part of the time on average, a light one from there to the most.
    """
    top = max(chart.top, 1)
    rows = min(_ROWS, top)
    margin = len(f"{top:,}") + 2
    width = max(10, columns - margin - 1)
    parts = list(bins(chart, width))
    lines = textwrap.wrap(f"{chart.where} against time; {chart.subtitle}", columns)
    for row in range(rows, 0, -1):
        label = f"{top:,}" if row == rows else ""
        bars = "".join(_cell(mean, most, row, top / rows, blocks) for mean, most in parts)
        lines.append(f"{label:>{margin - 2}} {_side(blocks)}{bars}".rstrip())
    lines.append(f"{'0':>{margin - 2}} {_corner(blocks)}{_axis(blocks) * width}")
    lines.append(" " * margin + _seconds(chart, width))
    if chart.losses:
        lines.append(f"{'':{margin}}{_lost(chart, width, blocks)}".rstrip())
    return [*lines, *_legend(chart, columns, blocks)]


def _side(blocks: bool) -> str:
    return "│" if blocks else "|"


def _corner(blocks: bool) -> str:
    return "└" if blocks else "+"


def _axis(blocks: bool) -> str:
    return "─" if blocks else "-"


def _cell(mean: float, most: int, row: int, step: float, blocks: bool) -> str:
    """One character: row 1 stands for more than 0 up to `step` bytes."""
    bottom = (row - 1) * step
    full = min(1.0, max(0.0, (mean - bottom) / step))
    if blocks and round(full * 8):
        return _EIGHTHS[round(full * 8)]
    if not blocks and full >= 0.5:
        return "#"
    return ("░" if blocks else ":") if most > bottom else " "


def _seconds(chart: Chart, width: int) -> str:
    """Labels under the axis, each beginning where its time is."""
    line = ""
    for seconds in round_steps(chart.end, 6):
        at = int(seconds / chart.end * width) if chart.end else 0
        label = f"{seconds:,.6g}"
        if at >= len(line) + bool(line) and at + len(label) + 2 <= width:
            line = line.ljust(at) + label
    return line + " s"


def _lost(chart: Chart, width: int, blocks: bool) -> str:
    marks = [" "] * width
    for seconds in chart.losses:
        at = int(seconds / chart.end * width) if chart.end else 0
        marks[min(width - 1, at)] = "×" if blocks else "x"
    return "".join(marks)


def _legend(chart: Chart, columns: int, blocks: bool) -> list[str]:
    full, light, lost = ("█", "░", "×") if blocks else ("#", ":", "x")
    words = [f"{full} on average", f"{light} at most"]
    if chart.losses:
        words.append(f"{lost} bytes lost")
    words.append(f"room for {chart.capacity:,}")
    line = "   ".join(words)
    return [line] if len(line) <= columns else words
