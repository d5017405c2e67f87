"""A reply's lines -> what a program at the end of a slow line gets of them, without taking any time.

The arithmetic is `gateway.serial`'s: each reply is simulated by itself, with a machine that waits for it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from gateway.serial.framing import Framing
from gateway.serial.machine import EndsAt, Machine
from gateway.serial.reply import line_end_bytes
from gateway.serial.run import Run
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Noise, Way
from gateway.testing.clients.replies import STATUS_COLUMNS, Reply, Unmet, reply_of, shown
from gateway.wire.settings import CHECK_WIDTHS, Settings

__tracebackhide__ = True  # pytest then shows the test's own line where something did not come

_LF: Final = b"\n"


@dataclass(frozen=True, slots=True)
class SerialLine:
    """Everything between the gateway and the program but the settings, which may change."""

    framing: Framing
    machine: Machine = field(default_factory=Machine)
    link: Link = field(default_factory=Link)
    noise: Noise = field(default_factory=Noise)

    def carry(self, lines: Sequence[bytes], settings: Settings) -> Run:
        """What becomes of a reply's lines, their ends included. WrongWords: more than is simulated."""
        return simulate(Way(self.framing, self.machine, settings, self.link, self.noise), lines)

    def heard(self, lines: Sequence[bytes], settings: Settings) -> Reply:
        """The reply as the program reads it. Unmet where it gets no status line."""
        run = self.carry(lines, settings)
        first, *others = self._lines(run.received, settings)
        check = CHECK_WIDTHS[settings.check]
        reply = reply_of(shown(first[: len(first) - check], settings))
        if reply is None:
            raise Unmet(f"the status line came as {first!r}: {lost(run)}")
        records = tuple(shown(each[: max(len(each) - check, 0)], settings) for each in others)
        return Reply(reply.status, reply.count, reply.text, records, run)

    def _lines(self, data: bytes, settings: Settings) -> list[bytes]:
        """As the program takes them apart: at line ends, or by counting where there are none."""
        end = line_end_bytes(settings)
        if not end:
            return _counted(data, settings)
        first = self.machine.ends_at is EndsAt.FIRST
        lines = data.split(end[:1] if first else end[-1:])
        if not lines[-1].strip(end):
            lines.pop()
        return [each.lstrip(_LF) if first else each.rstrip(end) for each in lines] or [b""]


def _counted(data: bytes, settings: Settings) -> list[bytes]:
    start = STATUS_COLUMNS + CHECK_WIDTHS[settings.check]
    reply = reply_of(shown(data[:STATUS_COLUMNS], settings))
    width = max(1, reply.width) if reply is not None else 1
    return [data[:start], *(data[at : at + width] for at in range(start, len(data), width))]


def lost(run: Run) -> str:
    """What the line did to a reply, in words."""
    parts = [f"{len(run.losses)} of {run.sent} bytes were lost"]
    if run.losses:
        worst = run.losses[0]
        parts.append(f"the first in line {worst.line}, column {worst.column}, at the {worst.where.value}")
    if run.garbled:
        parts.append(f"{run.garbled} came garbled")
    if run.unsent:
        parts.append(f"{run.unsent} were never sent: the program waits for a line end that was lost")
    return ", ".join(parts)
