"""Way + Run -> Chart: what every picture of it shows, whatever it is drawn with."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from gateway.serial.machine import Receiver
from gateway.serial.run import Run
from gateway.serial.way import Way

Point = tuple[float, int]
"""Seconds, and the bytes from then on."""

_STEPS: Final = (1, 2, 5, 10)


@dataclass(frozen=True, slots=True)
class Chart:
    """Time against bytes. `points` are the changes, in order; `losses` the times at which bytes were lost."""

    title: str
    subtitle: str
    where: str  # the bytes are: "bytes in the buffer"
    points: Sequence[Point]
    losses: Sequence[float]
    capacity: int
    end: float  # seconds

    @property
    def top(self) -> int:
        """The highest number that has to fit in; what there is room for, unless that is far beyond."""
        most = max((size for _, size in self.points), default=0)
        return self.capacity if self.capacity <= 4 * max(1, most) else max(1, most)


def chart_of(way: Way, run: Run) -> Chart:
    """The chart of a run that was traced."""
    polled = way.machine.receiver is Receiver.POLLED
    framing = way.framing
    whole = run.sent + run.unsent
    lost = f"{len(run.losses):,} of {whole:,} bytes lost" if run.losses else f"{whole:,} bytes, none lost"
    return Chart(
        title=f"{float(framing.baud):,g} bits a second {framing.name}: {lost}",
        subtitle=held_back(way),
        where=f"bytes in the {'UART' if polled else 'buffer'}",
        points=[(float(seconds), size) for seconds, size in run.filling],
        losses=sorted(float(each.seconds) for each in run.losses),
        capacity=way.machine.uart_bytes if polled else way.machine.buffer_bytes,
        end=float(max(run.ended, run.finished or 0)),
    )


def held_back(way: Way) -> str:
    """The settings that hold a reply back, as SET would take them."""
    settings = way.settings
    words = [f"{key}={value}" for key in ("pace", "gap", "window") if (value := getattr(settings, key))]
    if settings.flow != "none":
        words.append(f"flow={settings.flow}")
    return " ".join(words) or "as fast as the link"


def round_steps(most: float, count: int) -> list[float]:
    """At most `count` steps from 0 to about `most`, each 1, 2 or 5 times a power of ten."""
    if most <= 0:
        return [0.0]
    least = most / count
    power = 10.0 ** math.floor(math.log10(least))
    step = next(each for each in _STEPS if each * power >= least * (1 - 1e-9)) * power
    return [number * step for number in range(int(most / step * (1 + 1e-9)) + 1)]


def bins(chart: Chart, count: int) -> Iterator[tuple[float, int]]:
    """The bytes on average over time, and at most, in each of `count` equal parts of the time."""
    width = chart.end / count if chart.end else 1.0
    size = position = 0
    for number in range(count):
        at, stop = number * width, (number + 1) * width
        most, area = size, 0.0
        while position < len(chart.points) and (chart.points[position][0] < stop or number == count - 1):
            seconds, after = chart.points[position]
            area += size * (seconds - at)
            at, size = seconds, after
            most = max(most, size)
            position += 1
        yield (area + size * max(0.0, stop - at)) / width, most


def thinned(points: Sequence[Point], end: float, parts: int) -> list[Point]:
    """Of each of `parts` parts of the time the first, least, most and last point: all that can be seen."""
    if len(points) <= 4 * parts or end <= 0:
        return list(points)
    kept: list[int] = []
    start = 0
    for number in range(1, parts + 1):
        stop = start
        while stop < len(points) and (number == parts or points[stop][0] < number * end / parts):
            stop += 1
        if stop > start:
            inside = range(start, stop)
            least = min(inside, key=lambda index: points[index][1])
            most = max(inside, key=lambda index: points[index][1])
            kept += sorted({start, least, most, stop - 1})
        start = stop
    return [points[index] for index in kept]
