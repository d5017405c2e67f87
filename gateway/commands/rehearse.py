"""`headrace rehearse`: scripts of sessions, run against a gateway in this process or at an address."""

import argparse
import asyncio
import contextlib
import sys
import tempfile
from collections.abc import AsyncIterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from gateway.catalogue.model import Catalogue
from gateway.commands import sites, wiring
from gateway.rehearsal.accepting import accepted
from gateway.rehearsal.junit import junit_xml
from gateway.rehearsal.running import Address, Run, run_script
from gateway.rehearsal.script.reading import ScriptFault, read_script
from gateway.rehearsal.script.steps import Script
from gateway.rehearsal.showing import differences, summary
from gateway.service.logs import LEVELS
from gateway.service.server import Server
from gateway.service.sites import Site
from gateway.service.whole_files import put_in_place

_LOOPBACK = "127.0.0.1"


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "rehearse",
        help="run scripts of sessions and compare what comes with what they expect",
        description="Run each SCRIPT against a gateway of its own, with the catalogue, on a free port of this"
        " machine, or against the gateway at HOST:PORT; tell every difference, its columns marked."
        " README.md has the statements of a script; serve --trace writes such scripts.",
        epilog=f"Exit code 1 where anything was not as expected. {epilog}",
    )
    wiring.add_config(parser)
    sites.add_options(parser, "--site")
    parser.add_argument(
        "--at",
        metavar="HOST:PORT",
        type=_address,
        help="a gateway that is running, instead of one for each script",
    )
    parser.add_argument("--accept", action="store_true", help="write what came into the scripts")
    parser.add_argument("--junit", metavar="FILE", help="also write the outcome to FILE as JUnit XML")
    parser.add_argument(
        "--log", choices=LEVELS, default="error", help="how much to log (default: %(default)s)"
    )
    parser.add_argument("scripts", nargs="+", metavar="SCRIPT", help="a script's file")
    parser.set_defaults(run=run)


def _address(text: str) -> Address:
    host, _, port = text.rpartition(":")
    if not (host and port.isascii() and port.isdigit() and 0 < int(port[:6]) <= 65535):
        raise argparse.ArgumentTypeError(f"{text!r} is no HOST:PORT")
    return host.removeprefix("[").removesuffix("]"), int(port)


def run(options: argparse.Namespace) -> int:
    """Rehearse; 1 where something was not as expected, 2 where a script or the catalogue is wrong."""
    scripts = _read(options.scripts)
    if scripts is None:
        return wiring.WRONG_USAGE
    begun = datetime.now(UTC)
    others = (options.offline, options.record, options.faults, options.clock)
    if options.at is not None and (options.record_missing or any(each is not None for each in others)):
        print("headrace: --at takes a gateway as it runs: no recordings, faults or clock", file=sys.stderr)
        return wiring.WRONG_USAGE
    if options.at is not None:
        runs = asyncio.run(_all_at(options.at, scripts))
    else:
        try:
            done = _own_gateways(options, scripts)
        except sites.SiteFault as fault:
            print(fault, file=sys.stderr)
            return wiring.WRONG_USAGE
        if done is None:
            return wiring.WRONG_USAGE
        runs = done
    for each in runs:
        for difference in differences(each):
            print(difference)
        print(summary(each))
    return _written(options, runs, begun)


def _read(names: Sequence[str]) -> list[Script] | None:
    """All scripts, or None after everything that is wrong with them stands on standard error."""
    scripts, wrong = list[Script](), False
    for name in names:
        try:
            script = read_script(Path(name).read_text(encoding="utf-8"), name)
            scripts.append(script)
            if not script.steps:  # nothing would be tried, and all would seem well
                wrong = True
                print(f"{name}: no statement in it", file=sys.stderr)
        except (ScriptFault, OSError, UnicodeDecodeError) as error:
            wrong = True
            told = f"headrace: cannot read {name}: " if not isinstance(error, ScriptFault) else ""
            why = (error.strerror if isinstance(error, OSError) else None) or error
            print(f"{told}{'not UTF-8' if isinstance(error, UnicodeDecodeError) else why}", file=sys.stderr)
    return None if wrong else scripts


async def _all_at(address: Address, scripts: Sequence[Script]) -> list[Run]:
    return [await run_script(script, [address]) for script in scripts]


def _own_gateways(options: argparse.Namespace, scripts: Sequence[Script]) -> list[Run] | None:
    """Each script with a gateway of its own, whose recordings begin at their first answers."""
    runs = []
    for script in scripts:
        ready = sites.ready(options)
        if ready is None:
            return None
        runs.append(asyncio.run(_own_gateway(*ready, script)))
    return runs


async def _own_gateway(catalogue: Catalogue, site: Site | None, script: Script) -> Run:
    async with _gateway(catalogue, site) as addresses:
        return await run_script(script, addresses)


@contextlib.asynccontextmanager
async def _gateway(catalogue: Catalogue, site: Site | None) -> AsyncIterator[list[Address]]:
    """The catalogue's gateway with every listener at a free port of loopback, and a new state folder."""
    with tempfile.TemporaryDirectory(prefix="headrace-") as state:
        listeners = tuple(replace(each, host=_LOOPBACK, port=0, device=None) for each in catalogue.listeners)
        here = replace(catalogue, listeners=listeners, gateway=replace(catalogue.gateway, state=state))
        parts = wiring.Parts(here, site=site)
        server = Server(here, parts.answers, parts.clock)
        try:
            bound = await server.start()
            yield [(each.host, each.port) for each in bound]
        finally:
            await server.stop()
            await parts.aclose()


def _written(options: argparse.Namespace, runs: Sequence[Run], begun: datetime) -> int:
    """The files that were asked for, and the exit code."""
    good = all(each.good for each in runs)
    try:
        if options.junit is not None:
            _replace(Path(options.junit), junit_xml(runs, begun))
        if options.accept:
            for each in runs:
                if each.hung_up:
                    print(f"{each.script.name}: left as it is: the gateway hung up too early")
                elif each.differences:
                    _replace(Path(each.script.name), accepted(each).encode("utf-8"))
                    print(f"{each.script.name}: written anew; read what has changed")
    except OSError as error:
        print(f"headrace: cannot write {error.filename}: {error.strerror}", file=sys.stderr)
        return 1
    return 0 if good or (options.accept and not any(each.broken or each.hung_up for each in runs)) else 1


def _replace(path: Path, data: bytes) -> None:
    """The file, whole or as it was: a name in the same folder stands in for it meanwhile. Into what is no
    file, such as a device or a link, it is written as it stands. OSError names the path.
    """
    try:
        if path.is_symlink() or (path.exists() and not path.is_file()):
            path.write_bytes(data)
        else:
            mode = path.stat().st_mode & 0o777 if path.exists() else 0o644
            put_in_place(path, data, mode)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error
