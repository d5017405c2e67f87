"""Chart -> SVG 1.1: axes with units, title, legend; light and dark, nothing fetched from elsewhere."""

from typing import Final
from xml.sax.saxutils import escape

from gateway.serial.report.chart import Chart, bins, round_steps, thinned

WIDTH: Final = 840
HEIGHT: Final = 440
LEFT, RIGHT, TOP, BOTTOM = 76, 816, 84, 356  # of the plot itself
_DENSE: Final = RIGHT - LEFT  # changes: with more of them the lines run into one another
_MEANS: Final = 185  # points of the average, one to four units of width
_PARTS: Final = 1_480  # two to each unit of width: what is finer cannot be seen

_STYLE: Final = """
  text { font: 13px system-ui, sans-serif; fill: #1b1f24 }
  .title { font-size: 17px; font-weight: 600 }
  .paper { fill: #ffffff }
  .grid { stroke: #d9dee4; fill: none }
  .axis { stroke: #1b1f24; fill: none }
  .waiting { stroke: #0b62b0; stroke-width: 1.5; fill: none; stroke-linejoin: round }
  .dense { stroke-width: 1; stroke-opacity: 0.3 }
  .room { stroke: #7a5200; stroke-width: 1.5; stroke-dasharray: 7 4; fill: none }
  .lost { stroke: #b3261e; stroke-width: 1.5; fill: none }
  @media (prefers-color-scheme: dark) {
    text { fill: #e6e9ed }
    .paper { fill: #14181d }
    .grid { stroke: #343b44 }
    .axis { stroke: #e6e9ed }
    .waiting { stroke: #6cb6ff }
    .room { stroke: #e0b050 }
    .lost { stroke: #ff8a80 }
  }
"""


def svg(chart: Chart) -> str:
    """The whole file. Its path `waiting` goes from change to change, `H` for time and `V` for bytes."""
    across, up = _Scale(LEFT, RIGHT, chart.end or 1.0), _Scale(BOTTOM, TOP, float(chart.top))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}"'
        f' height="{HEIGHT}" role="img" aria-labelledby="title about">',
        f'<title id="title">{escape(chart.title)}</title>',
        f'<desc id="about">{escape(_about(chart))}</desc>',
        f"<style>{_STYLE}</style>",
        f'<rect class="paper" width="{WIDTH}" height="{HEIGHT}"/>',
        _text(LEFT, 30, chart.title, "title"),
        _text(LEFT, 52, chart.subtitle),
        *_grid(chart, across, up),
    ]
    if chart.capacity <= chart.top:
        parts.append(f'<path id="room" class="room" d="M{LEFT} {up.at(chart.capacity)}H{RIGHT}"/>')
    dense = len(chart.points) > _DENSE
    style = "waiting dense" if dense else "waiting"
    parts.append(f'<path id="waiting" class="{style}" d="{_steps(chart, across, up)}"/>')
    if dense:
        parts.append(f'<path id="average" class="waiting" d="{_average(chart, up)}"/>')
    if chart.losses:
        parts.append(f'<path id="lost" class="lost" d="{_crosses(chart, across)}"/>')
    parts += [*_legend(chart, dense), "</svg>"]
    return "\n".join(parts) + "\n"


class _Scale:
    """Values to places on the paper, in hundredths."""

    def __init__(self, start: int, end: int, most: float) -> None:
        self._start, self._each = start, (end - start) / most

    def at(self, value: float) -> str:
        return f"{self._start + value * self._each:.2f}"


def _about(chart: Chart) -> str:
    most = max((size for _, size in chart.points), default=0)
    return (
        f"{chart.where} over {chart.end:.4g} seconds, {chart.subtitle}: at most {most:,}, room for"
        f" {chart.capacity:,}; {len(chart.losses):,} bytes lost."
    )


def _text(x: float, y: float, words: str, style: str = "", anchor: str = "start") -> str:
    named = f' class="{style}"' if style else ""
    return f'<text x="{x}" y="{y}"{named} text-anchor="{anchor}">{escape(words)}</text>'


def _grid(chart: Chart, across: _Scale, up: _Scale) -> list[str]:
    parts = []
    for seconds in round_steps(chart.end, 8):
        x = across.at(seconds)
        parts.append(f'<path class="grid" d="M{x} {TOP}V{BOTTOM}"/>')
        parts.append(_text(float(x), BOTTOM + 18, f"{seconds:,.6g}", anchor="middle"))
    for size in round_steps(chart.top, 6):
        if size == int(size):
            y = up.at(size)
            parts.append(f'<path class="grid" d="M{LEFT} {y}H{RIGHT}"/>')
            parts.append(_text(LEFT - 8, float(y) + 4, f"{int(size):,}", anchor="end"))
    middle = (TOP + BOTTOM) // 2
    parts += [
        f'<path class="axis" d="M{LEFT} {TOP}V{BOTTOM}H{RIGHT}"/>',
        _text((LEFT + RIGHT) / 2, BOTTOM + 40, "time in seconds", anchor="middle"),
        f'<text x="20" y="{middle}" transform="rotate(-90 20 {middle})" text-anchor="middle">'
        f"{escape(chart.where)}</text>",
    ]
    return parts


def _steps(chart: Chart, across: _Scale, up: _Scale) -> str:
    path = [f"M{LEFT} {BOTTOM}"]
    path += [
        f"H{across.at(seconds)}V{up.at(size)}" for seconds, size in thinned(chart.points, chart.end, _PARTS)
    ]
    return "".join([*path, f"H{RIGHT}"])


def _average(chart: Chart, up: _Scale) -> str:
    width = (RIGHT - LEFT) / _MEANS
    middles = ((LEFT + (number + 0.5) * width, mean) for number, (mean, _) in enumerate(bins(chart, _MEANS)))
    return "M" + "L".join(f"{x:.2f} {up.at(mean)}" for x, mean in middles)


def _crosses(chart: Chart, across: _Scale) -> str:
    places = dict.fromkeys(round(float(across.at(seconds))) for seconds in chart.losses)
    return "".join(f"M{x - 3} {TOP - 13}l6 6m0 -6l-6 6" for x in places)


def _legend(chart: Chart, dense: bool) -> list[str]:
    y = HEIGHT - 16
    entries = [("waiting dense" if dense else "waiting", chart.where)]
    if dense:
        entries.append(("waiting", "on average"))
    if chart.capacity <= chart.top:
        entries.append(("room", f"room for {chart.capacity:,}"))
    if chart.losses:
        entries.append(("lost", "bytes lost"))
    parts, x = [], LEFT
    for style, words in entries:
        mark = f"M{x + 9} {y - 8}l6 6m0 -6l-6 6" if style == "lost" else f"M{x} {y - 5}h24"
        parts += [f'<path class="{style}" d="{mark}"/>', _text(x + 32, y, words)]
        x += 60 + 8 * len(words)
    return parts
