"""Machine and line -> the settings that lose nothing, found by simulating them.

Searched are pace, gap, window and flow, each alone and some together. Of each the furthest value is taken
that loses nothing, by bisection: as if whatever is slower than what loses nothing lost nothing either. That
holds for most machines, and where it does not the value found is still one that loses nothing, since each
proposal has been run whole. Noise is left out: no setting slows it down.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from fractions import Fraction
from typing import Final

from adapters import limits
from adapters.errors import WrongWords
from gateway.serial.framing import exact
from gateway.serial.machine import Machine
from gateway.serial.reply import Shape
from gateway.serial.run import Run
from gateway.serial.simulation import simulate
from gateway.serial.way import Noise, Way
from gateway.wire.ready import READY
from gateway.wire.settings import Settings, change, shown

KEYS: Final = ("pace", "gap", "window", "flow")
"""The settings that hold a reply back."""
SPARE: Final = 0.02
"""Of a machine's times, kept unless something else is asked for.

A waiting loop that nobody measured makes a byte late by a look and what it takes to notice it: 17 cycles for
the generated 6502 program. That is 1.6 % of the 1,042 cycles that a line end and the byte after it may take
at 19,200 bits a second and 1 MHz. At twice that speed it would be 3.3 %: there the loop wants measuring.
"""
_FIRST_LINES: Final = 24  # tried before the whole reply: what loses some of them loses
_PARTS: Final = (Fraction(1), Fraction(7, 8), Fraction(3, 4), Fraction(1, 2), Fraction(3, 8), Fraction(1, 4))
_WINDOWS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)
_GROWTH: Final = 4  # times as many next
_PAIRS: Final = 3  # of the pairs, those that look quickest are tried on the whole reply
_AS_GOOD: Final = Fraction(21, 20)  # of the time: not worth giving up what waits for the program itself


@dataclass(frozen=True, slots=True)
class Proposal:
    """Settings under which nothing is lost, and when the program is done then, in seconds."""

    settings: Settings
    seconds: Fraction
    profile: str = ""  # the ready profile that it is

    def words(self, before: Settings) -> str:
        """What SET takes to change `before` into this: "window=2"."""
        if self.profile:
            return self.profile.lower()
        return " ".join(
            f"{key}={shown(getattr(self.settings, key))}"
            for key in KEYS
            if getattr(self.settings, key) != getattr(before, key)
        )

    def block(self, name: str) -> str:
        """The same and all other settings that are not the default, as a profile of the catalogue."""
        plain = Settings()
        pairs = ((each.name, getattr(self.settings, each.name)) for each in fields(Settings))
        keys = [f"{key} = {_toml(value)}" for key, value in pairs if value != getattr(plain, key)]
        return "\n".join([f"[profile.{name}]", *keys])


def _toml(value: int | str | bool) -> str:
    return f'"{shown(value)}"' if isinstance(value, str | bool) else str(value)


@dataclass(frozen=True, slots=True)
class Advice:
    """`unlimited` is the reply as fast as the link; then what each setting alone can do, None: it cannot.

    Where nothing is lost as fast as the link, with what is to spare, `best` is that (`enough`), and nothing
    else was looked for. `spare` is the part by which the machine may be slower than told.

    `best` loses nothing in the shortest time, or in at most a twentieth more if it is the simpler one: flow
    and window wait for the program itself and so depend on no clock; then come pace, gap, and two settings
    together. `ready`: the quickest ready profile that would do, likewise.
    """

    unlimited: Run
    pace: Proposal | None
    gap: Proposal | None
    window: Proposal | None
    flow: Proposal | None
    best: Proposal | None
    ready: Proposal | None
    spare: float = 0.0

    @property
    def enough(self) -> bool:
        """Whether nothing need hold the reply back."""
        return self.best is not None and not _holds_back(self.best.settings)


def _holds_back(settings: Settings) -> bool:
    return any(getattr(settings, key) != getattr(Settings(), key) for key in KEYS)


def advise(way: Way, shape: Shape, spare: float = SPARE) -> Advice:
    """Settings for `way`'s line and machine and replies of `shape`; the other settings stay as they are.

    `spare` is the part by which the machine may be slower than told and still loses nothing: 0.1 is a tenth.
    WrongWords: less than nothing to spare, or a machine that would be too slow.
    """
    check_spare(spare)
    return replace(_Search(way, shape, spare).advice(), spare=spare)


def check_spare(spare: float) -> None:
    """WrongWords: less than nothing to spare, or far too much."""
    if not 0 <= spare <= limits.SERIAL_SPARE:
        raise WrongWords(f"0 to {limits.SERIAL_SPARE * 100} percent to spare")


def slower(machine: Machine, spare: float) -> Machine:
    """The machine with all its times longer by the part `spare`."""
    factor = 1 + exact(spare)
    xon, status = machine.xon, machine.status_seconds
    return replace(
        machine,
        byte_seconds=exact(machine.byte_seconds) * factor,
        status_seconds=None if status is None else exact(status) * factor,
        record_seconds=exact(machine.record_seconds) * factor,
        service_seconds=exact(machine.service_seconds) * factor,
        look_seconds=exact(machine.look_seconds) * factor,
        notice_seconds=exact(machine.notice_seconds) * factor,
        xon=xon and replace(xon, reaction_seconds=exact(xon.reaction_seconds) * factor),
    )


class _Search:
    def __init__(self, way: Way, shape: Shape, spare: float) -> None:
        self._shape = shape
        self._base = replace(way.settings, pace=0, gap=0, window=0, flow="none")
        self._way = replace(way, noise=Noise(), settings=self._base)
        self._lines = shape.lines(self._base)
        self._noisy = way.noise.rate > 0
        self._spare = replace(self._way, machine=slower(way.machine, spare)) if spare else None
        self._stages = [self._lines[:count] for count in _stages(len(self._lines))]
        self._runs: dict[tuple[Settings, int], Run | None] = {}
        self._rate = max(1, -int(-1 // way.framing.seconds))  # characters a second, rounded up

    def advice(self) -> Advice:
        unlimited = simulate(self._way, self._lines)
        plain = self._proposal(self._base)
        if plain is not None:
            return Advice(unlimited, None, None, None, None, plain, self._ready() if self._noisy else None)
        window = self._furthest("window", range(1, len(self._lines)), self._base)
        pace = self._furthest("pace", range(1, self._rate + 1), self._base)
        gap = self._furthest("gap", range(limits.GAP, -1, -1), self._base)
        flow = self._proposal(replace(self._base, flow="xon")) if self._way.machine.xon else None
        found = [each for each in (flow, window, pace, gap) if each is not None]
        best = _quickest([*found, *self._together()])
        return Advice(unlimited, pace, gap, window, flow, best, self._ready())

    def _together(self) -> list[Proposal]:
        """Two settings at once: a pace with a gap, a window with a pace, flow with a pace."""
        gaps, paces = range(limits.GAP, -1, -1), range(1, self._rate + 1)
        pairs: list[tuple[str, range, Settings]] = [
            ("gap", gaps, replace(self._base, pace=max(1, int(self._rate * part)))) for part in _PARTS
        ]
        pairs += [
            ("pace", paces, replace(self._base, window=lines))
            for lines in _WINDOWS
            if lines < len(self._lines)
        ]
        if self._way.machine.xon:
            pairs.append(("pace", paces, replace(self._base, flow="xon")))
        guesses: list[tuple[Fraction, int]] = []
        for number, (key, values, settings) in enumerate(pairs):
            index = self._edge(key, values, settings, self._stages[0])
            run = None if index is None else self._run(_with(settings, key, values[index]), self._stages[0])
            if run is not None and run.finished is not None:
                guesses.append((run.finished, number))
        found = (self._furthest(*pairs[number]) for _, number in sorted(guesses)[:_PAIRS])
        return [each for each in found if each is not None]

    def _furthest(self, key: str, values: range, settings: Settings) -> Proposal | None:
        """The last of `values`, which go from slow to fast, that loses nothing of the whole reply.

        What loses some of the first lines loses, so those are tried first, and then ever more of them.
        """
        for lines in self._stages:
            index = self._edge(key, values, settings, lines)
            if index is None:
                return None
            values = values[: index + 1]
        return self._proposal(_with(settings, key, values[-1]))

    def _edge(self, key: str, values: range, settings: Settings, lines: Sequence[bytes]) -> int | None:
        """The last index whose value loses nothing of `lines`, sought in growing steps from the end."""

        def good(index: int) -> bool:
            return self._run(_with(settings, key, values[index]), lines) is not None

        high, step = len(values), 1
        low = high - 1
        while low >= 0 and not good(low):
            if low == 0:
                return None
            low, high, step = max(0, low - step), low, step * 4
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if good(middle) else (low, middle)
        return low if low >= 0 else None

    def _proposal(self, settings: Settings, profile: str = "") -> Proposal | None:
        """The settings, if they lose nothing of the whole reply."""
        run = self._run(settings, self._shape.lines(settings) if profile else self._lines)
        if run is None or run.finished is None:
            return None
        return Proposal(settings, run.finished, profile)

    def _run(self, settings: Settings, lines: Sequence[bytes]) -> Run | None:
        """The run, if nothing is lost, by the machine as it is and by the slower one."""
        key = (settings, len(lines))
        if key not in self._runs:
            self._runs[key] = self._try(settings, lines)
        return self._runs[key]

    def _try(self, settings: Settings, lines: Sequence[bytes]) -> Run | None:
        run = None
        for way in filter(None, (self._spare, self._way)):
            run = simulate(replace(way, settings=settings), lines, stop_at_loss=True)
            if not run.lossless:
                return None
        return run

    def _ready(self) -> Proposal | None:
        """The quickest ready profile that loses nothing, of those that hold a reply back.

        One with a check is for a noisy line, where no other will do.
        """
        found = []
        for each in READY.values():
            settings = each.settings
            if not _holds_back(settings):
                continue
            if settings.flow == "xon" and self._way.machine.xon is None:
                continue
            if (settings.check != "none") == self._noisy:
                try:
                    found.append(self._proposal(settings, each.name))
                except WrongWords:  # wider than that profile takes, or a line end of eight bits on seven
                    continue
        return _quickest([each for each in found if each is not None])


def _stages(lines: int) -> list[int]:
    """How many lines are tried, fewer first."""
    counts, count = [], _FIRST_LINES
    while count < lines:
        counts.append(count)
        count *= _GROWTH
    return [*counts, lines]


def _with(settings: Settings, key: str, value: int) -> Settings:
    return change(settings, [(key, str(value))])


def _quickest(proposals: Sequence[Proposal]) -> Proposal | None:
    """The first that is as good as any."""
    least = min((each.seconds for each in proposals), default=Fraction(0))
    return next((each for each in proposals if each.seconds <= least * _AS_GOOD), None)
