"""`headrace spool`: transfers that could not be delivered, listed, tried again or dropped."""

import argparse
import asyncio
import sys
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from adapters import limits
from adapters.errors import HeadraceError
from gateway.catalogue.model import Catalogue
from gateway.commands import wiring
from gateway.service.adapters import Adapters
from gateway.service.files.delivering import deliver
from gateway.service.logs import LEVELS, Redactor, configure
from gateway.service.spool import aside
from gateway.service.spool.aside import Aside
from gateway.service.spool.spool import Held, JobKind, Spool, SpooledJob, Waiting
from gateway.session.state import without_secrets

_HEADINGS = ("NUMBER", "KIND", "SIZE", "AGE", "REF", "LAST FAULT")
_ASIDE_HEADINGS = ("NUMBER", "KIND", "SIZE", "AGE", "REF", "WHAT IS WRONG")
_SKIPPED = (
    " Without numbers these are left where they are: what may have been done already, such as a delivery that"
    " broke off or a copy whose gateway was killed; and what a newer STORE of the same document will replace."
    " Naming a number delivers it all the same."
)
_RIGHT = frozenset({"NUMBER", "SIZE", "AGE"})


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "spool",
        help="list, retry or drop transfers that could not be delivered",
        description="What clients stored, appended or copied and could not be put in its place is kept in the"
        " spool, under [gateway] state. It may be looked at and tried again while the gateway runs.",
        epilog=f"It exits with 1 when something could not be delivered or dropped. {epilog}",
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--log", choices=LEVELS, default="warning", help="how much to log (default: %(default)s)"
    )
    parser.set_defaults(run=run, act="list", number=[])
    acts = parser.add_subparsers(metavar="ACTION")
    for act, count, about, more in (
        ("list", None, "show what waits, and what was damaged (what `spool` alone does too)", ""),
        ("retry", "*", "deliver the transfers of these numbers, or all that may safely be", _SKIPPED),
        ("drop", "+", "forget the transfers of these numbers", ""),
    ):
        told = f"{about[0].upper()}{about[1:]}.{more}"
        one = acts.add_parser(act, help=about, description=told, epilog=epilog)
        one.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the catalogue")
        one.add_argument("--log", choices=LEVELS, default=argparse.SUPPRESS, help="how much to log")
        if count is not None:
            one.add_argument("number", nargs=count, type=int, metavar="N", help="as `list` shows it")
        one.set_defaults(act=act)


def run(options: argparse.Namespace) -> int:
    """List, retry or drop; 1 where something could not be done."""
    catalogue = wiring.catalogue_or_complaint(Path(options.config))
    if catalogue is None:
        return wiring.WRONG_USAGE
    redactor = Redactor()
    wiring.learn_secrets(redactor, catalogue)
    configure(options.log, sys.stderr, redactor)
    folder = Path(catalogue.gateway.state) / "spool"
    try:
        spool = Spool(folder) if folder.exists() else None
        if options.act == "list":
            return _list(spool, folder)
        if options.act == "drop":
            return _drop(spool, folder, options.number)
        return asyncio.run(_retry(catalogue, spool, options.number))
    except HeadraceError as error:
        print(f"headrace: {error.sentence}", file=sys.stderr)
        return 1


def _list(spool: Spool | None, folder: Path) -> int:
    waiting = spool.held() if spool else []
    if waiting:
        now = datetime.now(UTC)
        _print_table([_HEADINGS, *(_row(each, now) for each in waiting)])
    else:
        print("Nothing waits.")
    damaged = aside.lying_aside(folder) if spool else []
    if damaged:
        print(f"\nDamaged, and set aside in {_printable(str(folder))}:")
        _print_table([_ASIDE_HEADINGS, *(_aside_row(each, datetime.now(UTC)) for each in damaged)])
    return 0


def _aside_row(found: Aside, now: datetime) -> tuple[str, ...]:
    job, size = found.job, "-" if found.size is None else f"{found.size:,}"
    if job is None:
        return str(found.number), "-", size, "-", "-", found.why
    age = _age((now - job.created).total_seconds())
    return str(found.number), job.kind.value, size, age, _refs(job), found.why


def _row(waiting: Waiting, now: datetime) -> tuple[str, ...]:
    job, fault = waiting.record.job, waiting.fault
    if waiting.busy:
        said = "being delivered"
    else:
        said = f"{fault.sentence} (may have been done)" if fault.doubtful else fault.sentence
    return (
        str(waiting.number),
        job.kind.value,
        f"{waiting.record.size:,}",
        _age((now - job.created).total_seconds()),
        _refs(job),
        said or "-",
    )


def _refs(job: SpooledJob) -> str:
    return without_secrets(f"{job.source} {job.ref}" if job.source else job.ref)


def _age(seconds: float) -> str:
    for unit, length in (("d", 86_400), ("h", 3_600), ("min", 60)):
        if seconds >= length:
            return f"{int(seconds / length)} {unit}"
    return f"{max(0, int(seconds))} s"


def _print_table(rows: Sequence[Sequence[str]]) -> None:
    shown = [[_printable(each) for each in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*shown, strict=True)]
    for row in shown:
        cells = [
            cell.rjust(width) if heading in _RIGHT else cell.ljust(width)
            for cell, width, heading in zip(row, widths, _HEADINGS, strict=True)
        ]
        print("  ".join(cells).rstrip())


def _printable(text: str) -> str:
    return "".join(each if " " <= each <= "~" else "?" for each in text)


def _drop(spool: Spool | None, folder: Path, numbers: Iterable[int]) -> int:
    """Of a number that was set aside, what is damaged goes."""
    code = 0
    for number in dict.fromkeys(numbers):
        held = spool.take(number) if spool else None
        if held is None and spool and aside.remove(folder, number):
            print(f"{number}: what was set aside is removed")
        elif held is None:
            print(f"{number}: not waiting, or being delivered", file=sys.stderr)
            code = 1
        else:
            held.drop()
            print(f"{number}: dropped")
    return code


async def _retry(catalogue: Catalogue, spool: Spool | None, numbers: Sequence[int]) -> int:
    wanted, left = list(dict.fromkeys(numbers)), dict[int, str]()
    if not wanted and spool:
        waiting = spool.held()
        left = _left_alone(waiting)
        wanted = [each.number for each in waiting if each.number not in left]
    adapters, code = Adapters(), 0
    try:
        for number in wanted:
            held = spool.take(number) if spool else None
            if held is None:
                print(f"{number}: not waiting, or being delivered", file=sys.stderr)
                code = 1
            elif not await _delivered(catalogue, adapters, held, _alone(spool, held)):
                code = 1
    finally:
        await adapters.aclose()
    still = {each.number for each in spool.held()} if spool and left else set()
    for number, reason in left.items():
        if number in still:
            print(f"{number}: left: {reason}")
            code = 1
    return code


def _left_alone(waiting: Sequence[Waiting]) -> dict[int, str]:
    """What is not retried unless it is asked for by number, and why. What a newer STORE will replace must not
    be delivered after it, nor, as it would then find the document changed, before it.
    """
    left = {}
    for each in waiting:
        job = each.record.job
        newer = [
            other.number
            for other in waiting
            if other.number > each.number
            and other.record.job.kind is JobKind.STORE
            and other.record.job.ref == job.ref
        ]
        if each.busy:
            left[each.number] = "being delivered"
        elif newer:
            left[each.number] = f"{newer[-1]} is newer"
        elif each.fault.doubtful:
            left[each.number] = "may have been done; look, then retry or drop it by its number"
    return left


def _alone(spool: Spool | None, held: Held) -> bool:
    """Whether nobody else, such as a running gateway, is writing to that target now."""
    others = spool.held() if spool else []
    return not any(
        each.busy and each.number != held.number and each.record.job.ref == held.job.ref for each in others
    )


async def _delivered(catalogue: Catalogue, adapters: Adapters, held: Held, alone: bool) -> bool:
    try:
        written = await deliver(catalogue, adapters, held, limits.TRANSFER_SECONDS, sweep=alone)
    except HeadraceError as error:
        held.failed(error.sentence, error.code == 558)
        print(f"{held.number}: {error.code} {_printable(error.sentence)}")
        return False
    finally:
        held.close()
    size = held.size if written.size is None else written.size
    print(f"{held.number}: delivered, {size:,} bytes")
    return True
