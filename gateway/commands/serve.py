"""`headrace serve`: the gateway for one catalogue, until a signal ends it."""

import argparse
import asyncio
import logging
import signal
import sys
from dataclasses import replace
from pathlib import Path

from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import CatalogueFaults
from gateway.commands import wiring
from gateway.service.logs import LEVELS, Redactor, configure
from gateway.service.server import Bound, Server
from gateway.service.watching import watch

_log = logging.getLogger("headrace.serve")


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "serve",
        help="run the gateway",
        description="Run the gateway until SIGTERM or Ctrl-C. SIGHUP, or saving the catalogue, reloads it.",
        epilog=f"Keep it on a network that you trust: requests and replies are plain text. {epilog}",
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--port", type=port_number, metavar="N", help="the first listener's port instead of the catalogue's"
    )
    parser.add_argument(
        "--log", choices=LEVELS, default="warning", help="how much to log (default: %(default)s)"
    )
    parser.set_defaults(run=run)


def port_number(text: str) -> int:
    """A port as typed, 0 for a free one."""
    if not (text.isascii() and text.isdigit() and int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: 0 to 65535")
    return int(text)


def with_port(catalogue: Catalogue, port: int | None) -> Catalogue:
    """The catalogue with its first listener at `port`."""
    if port is None:
        return catalogue
    first, *others = catalogue.listeners
    return replace(catalogue, listeners=(replace(first, port=port), *others))


def run(options: argparse.Namespace) -> int:
    """Serve; 1 where a listener cannot be opened, 2 where the catalogue is wrong."""
    path = Path(options.config)
    catalogue = wiring.catalogue_or_complaint(path)
    if catalogue is None:
        return wiring.WRONG_USAGE
    redactor = Redactor()
    wiring.learn_secrets(redactor, catalogue)
    configure(options.log, sys.stderr, redactor)
    return asyncio.run(_serve(path, with_port(catalogue, options.port), options.port, redactor))


async def _serve(path: Path, catalogue: Catalogue, port: int | None, redactor: Redactor) -> int:
    parts = wiring.Parts(catalogue)
    server = Server(catalogue, parts.answers)
    ended = asyncio.Event()
    hangup = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, ended.set)
    loop.add_signal_handler(signal.SIGHUP, hangup.set)

    async def reload() -> None:
        try:
            fresh = with_port(await asyncio.to_thread(wiring.read_catalogue, path), port)
        except CatalogueFaults as faults:
            _log.error("the catalogue has mistakes; the last good one stays\n%s", faults.render())
        except (OSError, UnicodeDecodeError):
            _log.exception("the catalogue cannot be read; the last good one stays")
        else:
            wiring.learn_secrets(redactor, fresh)
            announce(await server.reload(fresh))
            _log.warning("catalogue reloaded: %d sources", len(fresh.sources))

    async def reload_on_hangup() -> None:
        while True:
            await hangup.wait()
            hangup.clear()
            await reload()

    try:
        try:
            announce(await server.start())
        except OSError as error:
            print(f"headrace: cannot listen: {error.strerror or error}", file=sys.stderr)
            return 1
        background = [loop.create_task(watch(path, reload)), loop.create_task(reload_on_hangup())]
        await ended.wait()
        for task in background:
            task.cancel()
        await server.stop()
    finally:
        await parts.aclose()
    return 0


def announce(bound: list[Bound]) -> None:
    """One line on standard error for each listener that is ready."""
    for each in bound:
        print(each.announcement, file=sys.stderr, flush=True)
