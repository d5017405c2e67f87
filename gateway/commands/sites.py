"""Options -> the folder of recordings that a gateway works with, and the time it goes by."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, TypeAlias

from adapters.recorded.faults.plan import FaultPlan, read_plan
from adapters.recorded.folder import Folder, FolderFault
from adapters.recorded.hiding import Hiding
from adapters.recorded.tree.table import TextFault
from gateway.catalogue.model import Catalogue
from gateway.commands import wiring
from gateway.service.clocks import CLOCK, Clock
from gateway.service.logs import Redactor, configure
from gateway.service.sites import Mode, Site, credential_names

RECORDED: Final = "recorded"
"""Instead of a time: that of the newest recording."""


class SiteFault(Exception):
    """The folder or the time cannot be used: the text says why, ready for standard error."""


def add_options(parser: argparse.ArgumentParser, *also: str) -> None:
    """What `serve` takes of a folder of recordings; `also`: other words for --offline."""
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--offline", *also, metavar="SITE", help="answer from the recordings in this folder only"
    )
    which.add_argument("--record", metavar="SITE", help="keep what far servers answer in this folder")
    parser.add_argument(
        "--record-missing",
        action="store_true",
        help="with --offline: ask far servers for what was not recorded, where they can be reached, and keep"
        " it; changes still go nowhere",
    )
    parser.add_argument(
        "--faults", metavar="FILE", help="with --offline: make requests go wrong as this plan (TOML) says"
    )
    parser.add_argument(
        "--clock",
        metavar="TIME",
        help="with --offline or --record: the time stands still at TIME (2026-05-17T12:00:00Z),"
        f" or, as `{RECORDED}`, at the newest recording's",
    )


def wanted(options: argparse.Namespace) -> tuple[Path, Mode] | None:
    """The folder and what is done with it, None for none; SiteFault where options do not go together."""
    if options.faults is not None and options.offline is None:
        raise SiteFault("headrace: --faults goes with --offline")
    if "" in (options.offline, options.record):
        raise SiteFault("headrace: --offline and --record want a folder")
    if options.offline is not None:
        return Path(options.offline), Mode.ADD if options.record_missing else Mode.PLAY
    if options.record_missing:
        raise SiteFault("headrace: --record-missing goes with --offline")
    if options.record is not None:
        return Path(options.record), Mode.RECORD
    if options.clock is not None:
        raise SiteFault("headrace: --clock goes with --offline or --record")
    return None


Ready: TypeAlias = tuple[Catalogue, Site | None]


def ready(options: argparse.Namespace, redactor: Redactor | None = None) -> Ready | None:
    """The catalogue and the folder that the options name, logging set up; None where the catalogue is wrong,
    which is then told on standard error. SiteFault for the rest.
    """
    path, chosen, redactor = Path(options.config), wanted(options), redactor or Redactor()
    offline = chosen is not None and chosen[1] is Mode.PLAY
    catalogue = wiring.catalogue_or_complaint(path, offline=offline)
    if catalogue is None:
        return None
    wiring.learn_secrets(redactor, catalogue)
    configure(options.log, sys.stderr, redactor)
    if chosen is None:
        return catalogue, None
    site = open_site(*chosen, catalogue, redactor, clock=options.clock)
    return catalogue, site if options.faults is None else replace(site, faults=_plan(Path(options.faults)))


def _plan(path: Path) -> FaultPlan:
    try:
        return read_plan(path.read_text(encoding="utf-8"))
    except TextFault as fault:
        raise SiteFault("\n".join(f"{path}: {mistake}" for mistake in fault.mistakes)) from fault
    except UnicodeDecodeError as error:
        raise SiteFault(f"headrace: {path} is not UTF-8 (byte {error.start + 1})") from error
    except OSError as error:
        raise SiteFault(f"headrace: cannot read {path}: {error.strerror}") from error


def open_site(
    path: Path,
    mode: Mode,
    catalogue: Catalogue,
    redactor: Redactor,
    *,
    clock: str | None = None,
) -> Site:
    """The folder, read. SiteFault where it or the time cannot be used."""
    if mode is not Mode.RECORD and not path.is_dir():
        raise SiteFault(f"headrace: no recordings at {path}")
    hiding = Hiding(redactor, credential_names(catalogue))
    folder = Folder(path, hiding, CLOCK.now)
    load(folder)
    return Site(folder, hiding, mode, _clock(clock, folder))


def load(folder: Folder) -> None:
    """Read what is there. SiteFault where it cannot be used."""
    try:
        folder.load()
    except FolderFault as error:
        raise SiteFault(f"headrace: {error}") from error
    except OSError as error:
        raise SiteFault(f"headrace: cannot read {error.filename or folder.path}: {error.strerror}") from error


def _clock(text: str | None, folder: Folder) -> Clock:
    if text is None:
        return CLOCK
    if text == RECORDED:
        if folder.latest is None:
            raise SiteFault("headrace: nothing is recorded there to take the time from")
        return Clock(folder.latest)
    try:
        moment = datetime.fromisoformat(text)
        return Clock(moment.astimezone(UTC) if moment.tzinfo is not None else moment.replace(tzinfo=UTC))
    except (ValueError, OverflowError) as error:
        raise SiteFault(f"headrace: {text!r} is no time such as 2026-05-17T12:00:00Z (RFC 3339)") from error


def announce(site: Site) -> None:
    """One line on standard error: what is done with which folder."""
    how = {Mode.RECORD: "recording into", Mode.PLAY: "offline, from", Mode.ADD: "adding to"}[site.mode]
    when = f", at {site.clock.now():%Y-%m-%dT%H:%M:%SZ}" if site.clock.frozen else ""
    faults = f", {len(site.faults)} faults on cue" if site.faults is not None else ""
    kept = f": {_count(site)} recordings" if site.offline else ""
    wiring.tell(f"headrace: {how} {site.folder.path}{when}{faults}{kept}")


def _count(site: Site) -> int:
    return sum(1 for _ in site.folder.exchanges())


def tell_count(site: Site) -> None:
    """How much the folder holds, on standard error."""
    wiring.tell(f"headrace: {site.folder.path}: {_count(site)} recordings")


def tell_hidden(hidden: Sequence[str]) -> None:
    """The list of what was hidden, on standard error."""
    if hidden:
        wiring.tell("headrace: hidden in the recordings:", *(f"  {each}" for each in hidden))


def tell_unkept(number: int) -> None:
    """How many exchanges the disk did not take, on standard error."""
    if number:
        wiring.tell(f"headrace: {number} exchanges could not be kept")


def tell_unused(site: Site | None) -> None:
    """What was recorded before and has not come again since the start, on standard error."""
    if site is None:
        wiring.tell("headrace: no recordings: see --offline and --record")
        return
    unused = [f"  {each.asked.method} {site.folder.shown(each)}" for each in site.folder.unused()]
    wiring.tell(f"headrace: recordings not used: {len(unused)}", *unused)
