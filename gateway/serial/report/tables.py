"""Way, Run, Advice -> tables in words and figures, each cell a text."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, fields
from fractions import Fraction
from typing import Final

from adapters import limits
from gateway.serial.advice import KEYS, Advice, Proposal
from gateway.serial.framing import Number, exact
from gateway.serial.machine import Machine, Overrun, Receiver
from gateway.serial.reply import line_end_bytes
from gateway.serial.report.chart import held_back
from gateway.serial.run import Loss, Run
from gateway.serial.way import Way
from gateway.wire.settings import Settings, shown

_LOSSES: Final = 10  # of the lost bytes are listed one by one
_END_NAMES: Final = {b"\r\n": "CR LF", b"\r": "CR", b"\n": "LF", b"\x9b": "9Bh", b"": "no line end"}


@dataclass(frozen=True, slots=True)
class Table:
    """Headings (none: a list of names and texts) and rows; the columns of figures stand to the right."""

    headings: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    right: frozenset[int] = frozenset()
    title: str = ""

    @property
    def ruled_width(self) -> int:
        """Characters across with a blank on both sides of each cell and a rule's character at both ends."""
        rows = [self.headings, *self.rows] if self.headings else self.rows
        return 1 + sum(max(map(len, cells)) + 3 for cells in zip(*rows, strict=True))

    def plain(self, columns: int) -> list[str]:
        """Lines of at most `columns` characters; the last column is wrapped."""
        rows = [self.headings, *self.rows] if self.headings else list(self.rows)
        last = len(rows[0]) - 1
        widths = [max(len(row[index]) for row in rows) for index in range(last)]
        lines = [self.title] if self.title else []
        for row in rows:
            cells = [
                f"{cell:>{width}}" if index in self.right else f"{cell:<{width}}"
                for index, (cell, width) in enumerate(zip(row, widths, strict=False))
            ]
            before = "".join(f"{cell}  " for cell in cells)
            cell = row[last]
            wrapped = textwrap.wrap(cell, max(20, columns - len(before))) or [""]
            lines += [
                (before if number == 0 else " " * len(before)) + part for number, part in enumerate(wrapped)
            ]
        return [line.rstrip() for line in lines]


def facts(way: Way, lines: Sequence[bytes], run: Run) -> Table:
    """What was simulated, and what came of it."""
    framing, settings = way.framing, way.settings
    rows = [
        (
            "line",
            f"{float(framing.baud):,g} bits a second {framing.name}: {float(framing.bits):g} bits and"
            f" {milliseconds(framing.seconds)} a character",
        ),
        ("reply", _reply(lines, settings)),
        ("machine", _machine(way.machine)),
        ("settings", held_back(way)),
        ("time", _time(run)),
        ("lost", _lost(run)),
    ]
    if way.noise.rate:
        count = f"{run.garbled:,} byte{'' if run.garbled == 1 else 's'}"
        rows.append(("garbled", f"{count}, {run.marked:,} of them marked by the UART"))
    place, room = (
        ("UART", way.machine.uart_bytes)
        if way.machine.receiver is Receiver.POLLED
        else ("buffer", way.machine.buffer_bytes)
    )
    rows.append(("waiting", f"at most {run.largest:,} of {room:,} bytes in the {place}"))
    if settings.flow == "xon" and way.machine.xon is None:
        rows.append(("note", "flow=xon does nothing here: this machine sends no 13h and 11h"))
    return Table((), rows)


def _reply(lines: Sequence[bytes], settings: Settings) -> str:
    end = line_end_bytes(settings)
    width = max((len(line) - len(end) for line in lines[1:]), default=0)
    records = f"{len(lines) - 1:,} records of {width}" if len(lines) > 1 else "no records"
    return f"status line and {records}, {sum(map(len, lines)):,} bytes with {_END_NAMES[end]}"


def _machine(machine: Machine) -> str:
    uart = f"UART of {machine.uart_bytes:,}" + (" that overwrites" if machine.overrun is Overrun.OLD else "")
    work = f"{milliseconds(machine.byte_seconds)} a byte, {milliseconds(machine.record_seconds)} a record"
    if machine.status_seconds is not None:
        work += f", {milliseconds(machine.status_seconds)} the status line"
    if machine.look_seconds or machine.notice_seconds:
        looks, notices = milliseconds(machine.look_seconds), milliseconds(machine.notice_seconds)
        work += f"; looks every {looks}, takes {notices} later"
    if machine.receiver is Receiver.POLLED:
        return f"polled, {uart}; {work}"
    service = milliseconds(machine.service_seconds)
    return f"interrupt of {service}, {uart}, buffer of {machine.buffer_bytes:,}; {work}"


def milliseconds(seconds: Number) -> str:
    """Such as "1.0417 ms"."""
    return f"{float(exact(seconds) * 1000):,.5g} ms"


def _time(run: Run) -> str:
    if run.finished is None:
        return f"never done: the program waits for what was lost (last byte after {float(run.ended):,.3f} s)"
    return f"{float(run.finished):,.3f} s; the line is busy for {run.load:.1%} of it"


def _lost(run: Run) -> str:
    lost = f"{len(run.losses):,} of {run.sent:,} bytes" if run.losses else f"none of {run.sent:,} bytes"
    return f"{lost}; {run.unsent:,} never sent" if run.unsent else lost


def losses(lines: Sequence[bytes], run: Run, settings: Settings) -> Table | None:
    """The first lost bytes, if there are any."""
    if not run.losses:
        return None
    end = len(line_end_bytes(settings))
    rows = [
        (
            "status" if each.line == 0 else f"{each.line:,}",
            _column(each, len(lines[each.line]) - end),
            each.where.value,
            f"{float(each.seconds):,.4f} s",
        )
        for each in run.losses[:_LOSSES]
    ]
    count = len(run.losses)
    title = f"the first {_LOSSES} of {count:,} lost bytes" if count > _LOSSES else "lost bytes"
    return Table(("record", "column", "lost in", "after"), rows, frozenset({0, 1}), title)


def _column(loss: Loss, width: int) -> str:
    return str(loss.column) if loss.column <= width else "line end"


def proposals(advice: Advice, way: Way) -> Table:
    """What each setting would do, and what it costs against a reply that nothing holds back."""
    unlimited, best = advice.unlimited, advice.best
    base = unlimited.finished or unlimited.ended
    lost = f"loses {len(unlimited.losses):,}"
    if unlimited.lossless:
        lost = "loses none" if advice.enough else "only just loses none"
    rows: list[tuple[str, ...]] = [("as fast as the link", f"{float(base):,.3f} s", "", lost)]
    if not advice.enough:
        alone = {key: getattr(advice, key) for key in ("window", "pace", "gap", "flow")}
        if way.machine.xon is None:
            del alone["flow"]
        for key, proposal in alone.items():
            rows.append(
                ("flow=xon" if key == "flow" else f"any {key}", "", "", "loses some")
                if proposal is None
                else _row(proposal, base, "best" if proposal == best else "loses none")
            )
        if best is not None and best not in alone.values():
            rows.append(_row(best, base, "best"))
    if advice.ready is not None:
        rows.append(_row(advice.ready, base, "ready made"))
    spare = f" with {advice.spare * 100:.4g}% to spare" if advice.spare else ""
    title = f"what loses nothing{spare}, and what it costs"
    return Table(("setting", "time", "more", ""), rows, frozenset({1, 2}), title)


def _row(proposal: Proposal, base: Fraction, note: str) -> tuple[str, ...]:
    words = f"profile {proposal.profile.lower()}" if proposal.profile else proposal.words(Settings())
    more = f"{float(proposal.seconds / base - 1):+,.1%}" if base else ""
    return words or "none", f"{float(proposal.seconds):,.3f} s", more, note


def _undone(ready: Proposal, way: Way) -> str:
    """A profile takes back what was set before it: ", without check=crc"."""
    before, after, plain = way.settings, ready.settings, Settings()
    lost = [
        f"{each.name}={shown(value)}"
        for each in fields(Settings)
        if each.name not in KEYS
        and (value := getattr(before, each.name))
        not in (getattr(plain, each.name), getattr(after, each.name))
    ]
    return f", without {' '.join(lost)}" if lost else ""


def to_type(advice: Advice, way: Way, profile: str, width: int = 0) -> list[str]:
    """The advice as lines to type and to put in the catalogue, `profile` being the new profile's name.

    `width` is that of the records simulated, mark and check included: the advice holds for no wider ones.
    """
    best, before = advice.best, way.settings
    if best is None:
        lines = ["No pace, gap or window keeps this machine from losing bytes."]
    elif best.words(before) in ("", "flow=none"):  # the adapter may obey 13h where the gateway need not
        lines = ["Nothing need be changed."]
    else:
        lines = ["Type", f"    SET {best.words(before)}", "or put in the catalogue"]
        lines += [f"    {line}" for line in best.block(profile).splitlines()]
    if advice.ready is not None:
        lines += [f"A ready profile that would do{_undone(advice.ready, way)}"]
        lines += [f"    SET {advice.ready.words(before)}"]
    if width and best is not None and not advice.enough:
        limit = f"; most={width} has the gateway refuse them" if width >= limits.COLUMNS_MIN else ""
        lines.append(f"This holds for records of up to {width}. Wider ones may lose bytes{limit}.")
    if way.noise.rate:
        lines += [
            "Noise is left out here: against it a program checks each line (check=crc)",
            "and asks again for what came wrong (AGAIN).",
        ]
    return lines
