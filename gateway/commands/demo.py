"""`headrace demo`: the demo site and a gateway on loopback, with a printed sample session."""

import argparse
import asyncio
import errno
import shutil
import signal
import sys
import tempfile
import textwrap
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

from demo_site.areas.running import DemoAreas
from demo_site.catalogue import demo_catalogue
from demo_site.offline import RECORDING, offline_catalogue
from demo_site.sample import SAMPLES, Sample
from demo_site.servers import DemoServers
from gateway.catalogue.model import Catalogue
from gateway.commands import sites, wiring
from gateway.commands.serve import port_number
from gateway.service.doors import Bound
from gateway.service.logs import Redactor, configure
from gateway.service.server import Server
from gateway.service.sites import Mode, Site

_PORT = 8128

Reply: TypeAlias = tuple[str, Sequence[str]]
"""A status line and its records, without their ends."""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "demo",
        help="show it working, with an invented site on this machine",
        description="Start the demo site (an invented harbour town) and a gateway on loopback, print"
        " a sample session, and stay up for a client of your own until Ctrl-C.",
        epilog=epilog,
    )
    parser.add_argument("--once", action="store_true", help="end after the sample session")
    parser.add_argument(
        "--offline",
        action="store_true",
        help="start no site: answer from the recording of it that comes along",
    )
    parser.add_argument(
        "--port",
        type=port_number,
        metavar="N",
        help=f"where the gateway listens (default: {_PORT}, or a free one)",
    )
    parser.add_argument(
        "--config", metavar="FILE", help="also write the demo's catalogue to FILE, which must be new"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Show the demo; 1 where it cannot listen or a sample request failed unexpectedly."""
    configure("warning", sys.stderr, Redactor())
    with tempfile.TemporaryDirectory(prefix="headrace-demo-") as folder:
        return _offline(options, Path(folder)) if options.offline else _with_site(options, Path(folder))


def _offline(options: argparse.Namespace, folder: Path) -> int:
    text = offline_catalogue(port=_ports(options.port, options.once)[0], state=_state(options, folder))
    catalogue = _written(options, folder, text)
    if catalogue is None:
        return wiring.WRONG_USAGE
    print("No site is started and nothing is asked of any network: the gateway answers from what was")
    print(f"recorded of an invented harbour town, in {RECORDING.name}/ of the demo.")
    site = sites.open_site(RECORDING, Mode.PLAY, catalogue, Redactor())
    return asyncio.run(_demo(catalogue, options.port, options.once, site))


def _with_site(options: argparse.Namespace, folder: Path) -> int:
    with DemoServers(folder) as site, DemoAreas(folder) as areas:
        text = demo_catalogue(
            site.http_url,
            site.https_url,
            site.ca_file,
            areas=areas.urls,
            port=_ports(options.port, options.once)[0],
            state=_state(options, folder),
        )
        catalogue = _written(options, folder, text)
        if catalogue is None:
            return wiring.WRONG_USAGE
        print(f"The demo site, an invented harbour town, is up at {site.http_url}/ and {site.https_url}/;")
        print(
            f"its files are at {areas.urls.quay} and {areas.urls.ledger} and in a folder, its text service at"
            f" {areas.urls.station}."
        )
        return asyncio.run(_demo(catalogue, options.port, options.once))


def _state(options: argparse.Namespace, folder: Path) -> str | Path:
    return folder / "state" if options.config is None else "headrace-state"


def _written(options: argparse.Namespace, folder: Path, text: str) -> Catalogue | None:
    """The catalogue, after it was written where it belongs; None where it could not be."""
    path = Path(options.config) if options.config else folder / "headrace.toml"
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        print(f"headrace: cannot write {path}: {error.strerror}; name a new file", file=sys.stderr)
        return None
    return wiring.catalogue_or_complaint(path, offline=options.offline)


def _ports(port: int | None, once: bool) -> Sequence[int]:
    if port is not None:
        return (port,)
    return (0,) if once else (_PORT, 0)


async def _demo(catalogue: Catalogue, port: int | None, once: bool, site: Site | None = None) -> int:
    parts = wiring.Parts(catalogue, site=site)
    ended = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        asyncio.get_running_loop().add_signal_handler(number, ended.set)
    try:
        server, bound = await _start(catalogue, parts, _ports(port, once))
    except OSError as error:
        print(wiring.cannot_listen(error), file=sys.stderr)
        await parts.aclose()
        return 1
    try:
        print(f"The gateway listens at {bound.host}:{bound.port}. Every request below went to it over TCP.\n")
        good = await _show(bound, live=site is None)
        if not once:
            await _stay(bound, ended)
    finally:
        await server.stop()
        await parts.aclose()
    return 0 if good else 1


async def _start(catalogue: Catalogue, parts: wiring.Parts, ports: Sequence[int]) -> tuple[Server, Bound]:
    """A server on the first of `ports` that is free."""
    *others, last = ports
    for port in others:
        try:
            return await _start_at(catalogue, parts, port)
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise
    return await _start_at(catalogue, parts, last)


async def _start_at(catalogue: Catalogue, parts: wiring.Parts, port: int) -> tuple[Server, Bound]:
    first, *others = catalogue.listeners
    moved = replace(catalogue, listeners=(replace(first, port=port), *others))
    server = Server(moved, parts.answers, parts.clock)
    return server, (await server.start())[0]


async def _show(bound: Bound, *, live: bool) -> bool:
    """Print the sample session as one connection gets it; False where the shape of a reply was wrong.

    `live`: the demo site is there, and nothing is from a recording.
    """
    reader, writer = await asyncio.open_connection(bound.host, bound.port)
    try:
        for sample in SAMPLES if live else (each for each in SAMPLES if not each.live):
            writer.write(sample.request.encode("ascii") + b"\r\n")
            replies = [await _reply(reader)]
            if replies[0][0].startswith("350"):
                writer.writelines(line.encode("ascii") + b"\r\n" for line in sample.lines)
                replies.append(await _reply(reader))
            print(rendered(sample, replies))
            if any(len(record) != int(status[10:13]) for status, records in replies for record in records):
                return False
    finally:
        writer.close()
        await writer.wait_closed()
    return True


async def _reply(reader: asyncio.StreamReader) -> Reply:
    status = (await reader.readline()).decode("ascii").rstrip("\r\n")
    records = [(await reader.readline()).decode("ascii").rstrip("\r\n") for _ in range(int(status[4:9]))]
    return status, records


def ruler(width: int) -> str:
    """Columns from 1, the tens in figures."""
    whole = "".join(f"----+----{tens % 10}" for tens in range(1, width // 10 + 2))
    return whole[:width]


def rendered(sample: Sample, replies: Sequence[Reply]) -> str:
    """One request, its status line, and its records under a ruler; after a 350 what was sent, and the end."""
    room = min(max(shutil.get_terminal_size().columns, 40), 100)
    lines = textwrap.wrap(sample.meaning, room - 2, initial_indent="# ", subsequent_indent="# ")
    for sent, (status, records) in zip(((sample.request,), sample.lines), replies, strict=False):
        lines += [*(f"> {line}" for line in sent), f"  {status}"]
        if records:
            lines += [f"  {ruler(len(records[0]))}", *(f"  {record}" for record in records)]
    return "\n".join([*lines, ""])


async def _stay(bound: Bound, ended: asyncio.Event) -> None:
    print("It stays up for a client of your own:")
    print(f"  telnet {bound.host} {bound.port}      or      nc {bound.host} {bound.port}")
    print("Type a request, such as HELP, and Enter. Ctrl-C here ends the demo.", flush=True)
    await ended.wait()
