"""`headrace line`: a serial line and the machine at its end, simulated; the settings that lose nothing."""

import argparse
import shutil
import sys
import textwrap
from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from pathlib import Path
from typing import Final

from adapters import limits
from adapters.errors import WrongWords
from gateway.catalogue.document.mistakes import nearest
from gateway.commands import wiring
from gateway.serial.advice import SPARE, advise, check_spare
from gateway.serial.framing import Framing, Parity, cycles
from gateway.serial.machine import EndsAt, Machine, Overrun, Receiver, XonXoff
from gateway.serial.reply import Shape
from gateway.serial.report.chart import Chart, chart_of
from gateway.serial.report.svg import svg
from gateway.serial.report.tables import Table, facts, losses, proposals, to_type
from gateway.serial.report.terminal import BLOCKS, drawn
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Noise, Way
from gateway.wire.ready import READY
from gateway.wire.settings import SETTINGS, Settings, change

_COLUMNS: Final = 80  # of a report at most
_LOST = 1
_BUFFER: Final = 128  # bytes, where an interrupt routine fills one
_NAME: Final = "my-machine"  # of the profile that is proposed


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "line",
        help="simulate a serial line and a client's buffer; propose settings",
        description="Simulate one reply on its way over a serial line to a small machine's program: how long"
        " it takes, which bytes are lost where, and which settings lose none. Nothing is connected to.",
        epilog="It exits with 1 when bytes are lost with the settings as they are (--profile, --set)."
        f" {epilog}",
    )
    wiring.add_config(parser)
    line = parser.add_argument_group("the line")
    _number(line, "--baud", "N", None, "bits a second")
    line.add_argument("--data-bits", type=int, choices=(7, 8), default=8, help=_default("bits of data"))
    _choice(line, "--parity", Parity, "the bit after the data bits")
    line.add_argument(
        "--stop-bits", choices=("1", "1.5", "2"), default="1", help=_default("bits between characters")
    )
    _number(line, "--noise", "RATE", "0", "part of the bits that arrive wrong, such as 0.0001")
    _whole(line, "--seed", 1, "which bits those are")
    machine = parser.add_argument_group("the machine")
    _choice(machine, "--receiver", Receiver, "who takes each byte from the UART: the program or a routine")
    _whole(machine, "--fifo", 1, "bytes that the UART holds behind its shift register")
    _choice(machine, "--overrun", Overrun, "which byte is lost when the UART is full")
    machine.add_argument(
        "--buffer",
        type=int,
        metavar="N",
        help=f"bytes of the buffer that an interrupt routine fills (default: {_BUFFER})",
    )
    _number(machine, "--mhz", "N", "1", "clock of the processor in megahertz")
    _work(machine, "byte", 100, "the program needs for each byte")
    _work(machine, "record", 2_000, "it needs for each record, beside its bytes")
    _work(
        machine, "status", None, "it needs for the status line, beside its bytes (default: as for a record)"
    )
    _work(machine, "look", 0, "that one turn of a polled receiver's waiting loop takes")
    _work(machine, "notice", 0, "from the look that sees a byte to taking it; --byte-cycles has them too")
    _work(machine, "service", 100, "an interrupt needs for each byte")
    _choice(machine, "--ends-at", EndsAt, "byte of CR LF at which the program works on the record")
    machine.add_argument(
        "--xoff-at",
        type=int,
        metavar="N",
        help="bytes in the buffer at which the machine sends 13h (default:"
        " three quarters of it with flow=xon, else never)",
    )
    machine.add_argument(
        "--xon-at", type=int, metavar="N", help="bytes at which it sends 11h (default: a third of --xoff-at)"
    )
    _work(machine, "reaction", 0, "that go by before 13h or 11h is sent")
    link = parser.add_argument_group("the gateway and its link to the line")
    _number(link, "--latency", "SECONDS", "0", "seconds between gateway and line, each way")
    _whole(
        link, "--adapter", limits.SERIAL_HELD_BYTES, "bytes that fit between gateway and line: 13h stops none"
    )
    link.add_argument("--adapter-xon", action="store_true", help="the adapter itself obeys 13h and 11h")
    _number(link, "--tick", "MS", f"{limits.TICK_SECONDS * 1000:g}", "milliseconds between looks at a pace")
    reply = parser.add_argument_group("the reply and its settings")
    _whole(reply, "--records", 20, "records of the reply")
    width = reply.add_mutually_exclusive_group()
    width.add_argument(
        "--width", type=int, metavar="N", help="columns of a record without mark and check (default: cols)"
    )
    width.add_argument("--source", metavar="NAME", help="take the width of this source of the catalogue")
    reply.add_argument(
        "--profile", metavar="NAME", default="plain", help=_default("a profile, ready or of the catalogue")
    )
    reply.add_argument(
        "--set",
        metavar="KEY=VALUE",
        nargs="+",
        action="extend",
        default=[],
        help="settings as SET takes them",
    )
    shown = parser.add_argument_group("what is shown")
    _number(
        shown,
        "--spare",
        "PERCENT",
        f"{SPARE * 100:g}",
        "percent that the machine may be slower than told and still lose nothing with what is proposed:"
        " enough for a waiting loop that was left out; 0 goes to the very edge",
    )
    shown.add_argument("--plot", metavar="FILE.svg", type=_picture, help="also write the plot to a file")
    shown.add_argument("--no-plot", action="store_true", help="no plot on standard output")
    shown.add_argument("--no-advice", action="store_true", help="do not look for better settings")
    parser.set_defaults(run=run)


def _default(meaning: str) -> str:
    return f"{meaning} (default: %(default)s)"


def _number(
    group: "argparse._ArgumentGroup", option: str, metavar: str, default: str | None, meaning: str
) -> None:
    group.add_argument(
        option,
        metavar=metavar,
        type=number,
        default=default,
        required=default is None,
        help=meaning if default is None else _default(meaning),
    )


def _whole(group: "argparse._ArgumentGroup", option: str, default: int, meaning: str) -> None:
    group.add_argument(option, metavar="N", type=int, default=default, help=_default(meaning))


def _choice(
    group: "argparse._ArgumentGroup",
    option: str,
    words: type[Parity] | type[Receiver] | type[Overrun] | type[EndsAt],
    meaning: str,
) -> None:
    values = [each.value for each in words]
    group.add_argument(option, choices=values, default=values[0], help=_default(meaning))


def _work(group: "argparse._ArgumentGroup", name: str, default: int | None, meaning: str) -> None:
    """Two options for one time: cycles of the clock, or milliseconds; without a default `meaning` has it."""
    either = group.add_mutually_exclusive_group()
    either.add_argument(
        f"--{name}-cycles",
        metavar="N",
        type=number,
        default=None if default is None else str(default),
        help=f"cycles {meaning}" if default is None else _default(f"cycles {meaning}"),
    )
    either.add_argument(f"--{name}-ms", metavar="MS", type=number, help="the same in milliseconds")


def number(text: str) -> Fraction:
    """A decimal number as it is written, for argparse."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise argparse.ArgumentTypeError(f"{text!r} is no number") from None
    if not value.is_finite() or abs(value.adjusted()) > 12 or len(text) > 24:
        raise argparse.ArgumentTypeError(f"{text!r} is out of all proportion")
    return Fraction(value)


def _picture(text: str) -> Path:
    path = Path(text)
    if path.suffix.lower() != ".svg":
        raise argparse.ArgumentTypeError(f"{text!r} is no picture that can be drawn: name a FILE.svg")
    return path


def run(options: argparse.Namespace) -> int:
    """Simulate and report; 1 where bytes are lost."""
    try:
        found = _settings_and_shape(options)
        if found is None:
            return wiring.WRONG_USAGE
        settings, shape = found
        way = _way(options, settings)
        lines = shape.lines(settings)
        result = simulate(way, lines, trace=True)
        chart = chart_of(way, result)
        if options.plot is not None and not _write(options.plot, svg(chart)):
            return wiring.WRONG_USAGE
        _show(facts(way, lines, result))
        if (table := losses(lines, result, settings)) is not None:
            _show(table)
        if not options.no_plot:
            _draw(chart)
        if not options.no_advice:
            sys.stdout.flush()  # a long reply's advice takes its time
            _advise(way, shape, float(options.spare) / 100)
    except WrongWords as error:
        print(f"headrace: {error.sentence}", file=sys.stderr)
        return wiring.WRONG_USAGE
    return 0 if result.lossless else _LOST


def _advise(way: Way, shape: Shape, spare: float) -> None:
    advice = advise(way, shape, spare)
    _show(proposals(advice, way))
    print()
    for line in to_type(advice, way, _NAME, shape.columns + way.settings.added):
        print(line if line.startswith(" ") else textwrap.fill(line, _columns()))


def _settings_and_shape(options: argparse.Namespace) -> tuple[Settings, Shape] | None:
    """From the catalogue where one is needed or there; None after its complaint. WrongWords: no such name."""
    profiles = {"PLAIN": Settings(), **{name: each.settings for name, each in READY.items()}}
    check_spare(float(options.spare) / 100)
    name, columns = options.profile.upper(), options.width
    path = Path(options.config)
    if options.source is not None or (name != "PLAIN" and path.exists()):
        catalogue = wiring.catalogue_or_complaint(path)
        if catalogue is None:
            return None
        profiles.update(catalogue.profiles)
        if options.source is not None:
            source = catalogue.sources.get(options.source.upper())
            if source is None:
                raise WrongWords(f"no source {options.source}{_instead(options.source, catalogue.sources)}")
            columns = source.plan.width
    if name not in profiles:
        raise WrongWords(f"no profile {options.profile}{_instead(options.profile, profiles)}")
    pairs = [each.partition("=") for each in options.set]
    if wrong := [key for key, equals, _ in pairs if not equals]:
        raise WrongWords(f"--set takes KEY=VALUE, not {wrong[0]}")
    if unknown := [key for key, _, _ in pairs if key.lower() not in SETTINGS]:
        raise WrongWords(f"no setting {unknown[0]}{_instead(unknown[0], SETTINGS)}")
    settings = change(profiles[name], [(key, value) for key, _, value in pairs])
    if columns is None:
        columns = settings.cols - settings.mark
    return settings, Shape(options.records, columns)


def _instead(word: str, names: Iterable[str]) -> str:
    words = sorted(each.lower() for each in names)
    near = nearest(word.lower(), words)
    return f"; did you mean {near}?" if near else f"; there are {' '.join(words)}"


def _way(options: argparse.Namespace, settings: Settings) -> Way:
    if not 0 < options.mhz <= limits.SERIAL_MEGAHERTZ:
        raise WrongWords(f"--mhz is above 0 and at most {limits.SERIAL_MEGAHERTZ:,}")

    def seconds(name: str) -> Fraction:
        milliseconds: Fraction | None = getattr(options, f"{name}_ms")
        if milliseconds is not None:
            return milliseconds / 1000
        return cycles(getattr(options, f"{name}_cycles"), options.mhz)

    status_told = options.status_ms is not None or options.status_cycles is not None

    receiver = Receiver(options.receiver)
    if options.buffer is not None and receiver is Receiver.POLLED:
        raise WrongWords("--buffer needs --receiver interrupt: a program that polls has the UART alone")
    buffer = _BUFFER if options.buffer is None else options.buffer
    high = options.xoff_at
    if high is None and settings.flow == "xon" and receiver is Receiver.INTERRUPT:
        high = buffer * 3 // 4
    low = options.xon_at if options.xon_at is not None or high is None else high // 3
    if high is None and low is not None:
        raise WrongWords("--xon-at needs --xoff-at")
    machine = Machine(
        receiver=receiver,
        uart_bytes=options.fifo,
        overrun=Overrun(options.overrun),
        byte_seconds=seconds("byte"),
        record_seconds=seconds("record"),
        service_seconds=seconds("service"),
        status_seconds=seconds("status") if status_told else None,
        look_seconds=seconds("look"),
        notice_seconds=seconds("notice"),
        buffer_bytes=buffer,
        ends_at=EndsAt(options.ends_at),
        xon=None if high is None else XonXoff(high, low, seconds("reaction")),
    )
    return Way(
        Framing(options.baud, options.data_bits, Parity(options.parity), Fraction(options.stop_bits)),
        machine,
        settings,
        Link(options.latency, options.adapter, options.adapter_xon),
        Noise(float(options.noise), options.seed),
        options.tick / 1000,
    )


def _columns() -> int:
    return min(_COLUMNS, shutil.get_terminal_size((_COLUMNS, 24)).columns)


def _show(table: Table) -> None:
    """On a terminal with rules and bold headings, else in plain columns, and where rules would cut cells."""
    if not sys.stdout.isatty() or (table.headings and table.ruled_width > _columns()):
        print("\n".join(["", *table.plain(_columns())] if table.headings else table.plain(_columns())))
        return
    from rich import box  # noqa: PLC0415 - four megabytes that a gateway never needs
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table as Ruled  # noqa: PLC0415

    if table.title:
        print()
    ruled = Ruled(
        title=table.title or None,
        box=box.SIMPLE_HEAD if table.headings else None,
        show_header=bool(table.headings),
        title_justify="left",
    )
    for index in range(len(table.rows[0])):
        heading = table.headings[index] if table.headings else ""
        ruled.add_column(heading, justify="right" if index in table.right else "left", overflow="fold")
    for row in table.rows:
        ruled.add_row(*row)
    Console(width=_columns(), highlight=False, markup=False).print(ruled)


def _draw(chart: Chart) -> None:
    encoding = sys.stdout.encoding or "ascii"
    try:
        BLOCKS.encode(encoding)
        blocks = True
    except (UnicodeEncodeError, LookupError):
        blocks = False
    print("\n".join(["", *drawn(chart, _columns(), blocks)]))


def _write(path: Path, text: str) -> bool:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        print(f"headrace: cannot write {path}: {error.strerror}", file=sys.stderr)
        return False
    return True
