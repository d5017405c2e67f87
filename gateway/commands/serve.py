"""`headrace serve`: the gateway for one catalogue, until a signal ends it."""

import argparse
import asyncio
import logging
import signal
import sys
from collections.abc import Awaitable, Callable
from contextlib import closing, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Final

from adapters import limits
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import Catalogue
from gateway.commands import sites, wiring
from gateway.commands.handover import Handover
from gateway.rehearsal.tapping import Tapped
from gateway.rehearsal.tracing import Trace
from gateway.service.doors import Bound, where
from gateway.service.logs import LEVELS, Redactor
from gateway.service.outlook import numbers, troubles
from gateway.service.running.descriptors import no_core_dumps
from gateway.service.running.inheriting import METRICS, Inherited, inherited
from gateway.service.running.manager import Manager
from gateway.service.running.metrics import Number
from gateway.service.running.page import LOOPBACK, Page
from gateway.service.running.watching import Signature, signature, watch
from gateway.service.server import Server
from gateway.service.sites import Site, credential_names

_log = logging.getLogger(__name__)

_OTHER_PORT: Final = "take another in the catalogue, or with --port N for its first listener"


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]", epilog: str) -> None:
    """Describe the subcommand."""
    parser = commands.add_parser(
        "serve",
        help="run the gateway",
        description="Run the gateway until SIGTERM or Ctrl-C. SIGHUP, or saving the catalogue, reloads it;"
        " SIGUSR2 starts the program anew, and leaves that one the ports; with --offline or --record,"
        " SIGUSR1 lists the recordings that were not used yet.",
        epilog=f"Keep it on a network that you trust: requests and replies are plain text. {epilog}",
    )
    wiring.add_config(parser)
    parser.add_argument(
        "--port", type=port_number, metavar="N", help="the first listener's port instead of the catalogue's"
    )
    parser.add_argument(
        "--log", choices=LEVELS, default="warning", help="how much to log (default: %(default)s)"
    )
    sites.add_options(parser)
    parser.add_argument(
        "--trace",
        metavar="FILE",
        help="write every session to FILE, which must be new, as a script for headrace rehearse",
    )
    parser.set_defaults(run=run)


def port_number(text: str) -> int:
    """A port as typed, 0 for a free one."""
    if not (text.isascii() and text.isdigit() and int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: 0 to 65535")
    return int(text)


def with_port(catalogue: Catalogue, port: int | None) -> Catalogue:
    """The catalogue with its first listener at `port`, even where that has a serial device."""
    if port is None:
        return catalogue
    first, *others = catalogue.listeners
    return replace(catalogue, listeners=(replace(first, port=port, device=None), *others))


def run(options: argparse.Namespace) -> int:
    """Serve; 1 where a listener cannot be opened, 2 where the catalogue is wrong."""
    no_core_dumps()
    given, manager = inherited(), Manager()
    path = Path(options.config)
    known = signature(path)
    redactor = Redactor()
    try:
        ready = sites.ready(options, redactor)
    except sites.SiteFault as fault:
        print(fault, file=sys.stderr)
        return wiring.WRONG_USAGE
    if ready is None:
        return wiring.WRONG_USAGE
    catalogue, site = ready
    try:
        trace = None if options.trace is None else Trace(Path(options.trace), redactor)
    except OSError as error:
        print(f"headrace: cannot write {options.trace}: {error.strerror}; name a new file", file=sys.stderr)
        return wiring.WRONG_USAGE
    with closing(trace) if trace is not None else nullcontext():
        serving = _Serving(
            path, known, options.port, redactor, given=given, manager=manager, site=site, trace=trace
        )
        return asyncio.run(serving.run(with_port(catalogue, options.port)))


class _Serving:
    """One `headrace serve`: where its catalogue is, and how it was when it was read."""

    def __init__(
        self,
        path: Path,
        known: Signature,
        port: int | None,
        redactor: Redactor,
        *,
        given: Inherited,
        manager: Manager,
        site: Site | None = None,
        trace: Trace | None = None,
    ) -> None:
        self._path, self._known, self._port, self._redactor = path, known, port, redactor
        self._given, self._manager = given, manager
        self._site, self._trace = site, trace
        self._members = Path()
        self._members_known: Signature = None
        self._hangup, self._pass_on = asyncio.Event(), asyncio.Event()
        self._call_ports: set[tuple[str, int]] = set()  # for calls in, as announced

    async def run(self, catalogue: Catalogue) -> int:
        """Serve until a signal; the exit code."""
        self._members = Path(catalogue.gateway.members)
        self._members_known = signature(self._members)
        parts = wiring.Parts(catalogue, site=self._site)
        trace = self._trace
        tap = None if trace is None else lambda inner, number: Tapped(inner, trace, number)
        server = Server(catalogue, parts.answers, parts.clock, tap, parts.accounts, given=self._given)
        page = Page([*numbers(server), *parts.numbers, _tasks()], lambda: troubles(server), parts.troubles)
        ended = asyncio.Event()
        handover = Handover(self._given, self._manager, parts=parts, server=server, page=page, ended=ended)
        site = self._site
        self._heed_signals(ended)
        try:
            try:
                if site is not None:
                    sites.announce(site)
                self._announce(server, await server.start())
                if catalogue.gateway.metrics is not None:
                    await self._observed(server, page, catalogue.gateway.metrics)
            except OSError as error:
                print(wiring.cannot_listen(error, _OTHER_PORT), file=sys.stderr)
                if self._trace is not None:
                    self._trace.discard()
                return 1
            await handover.take_over()
            loop = asyncio.get_running_loop()
            background = [
                loop.create_task(watch(lambda: self._path, self._known, lambda: self._reload(server))),
                loop.create_task(self._on(self._hangup, lambda: self._reload(server))),
                loop.create_task(self._on(self._pass_on, lambda: self._hand_over(handover))),
                loop.create_task(
                    watch(lambda: self._members, self._members_known, lambda: self._reload(server))
                ),
                loop.create_task(_save(parts, handover)),
                loop.create_task(self._manager.stay_alive()),
            ]
            self._manager.say(ready=1)
            await ended.wait()
            if not handover.followed:
                self._manager.say(stopping=1)
            for task in background:
                task.cancel()
            handover.stopping()
            await server.stop()
        finally:
            await page.stop()
            await parts.aclose(keep_accounts=not handover.followed)
            await handover.stop(catalogue.gateway.wait + limits.FOLLOW_SECONDS)
            if site is not None and site.records:
                sites.tell_hidden(site.folder.hidden)
                sites.tell_unkept(site.folder.unkept)
                sites.tell_count(site)
        return 0

    def _heed_signals(self, ended: asyncio.Event) -> None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, ended.set)
        loop.add_signal_handler(signal.SIGHUP, self._hangup.set)
        loop.add_signal_handler(signal.SIGUSR1, sites.tell_unused, self._site)
        loop.add_signal_handler(signal.SIGUSR2, self._pass_on.set)

    async def _on(self, asked: asyncio.Event, work: Callable[[], Awaitable[None]]) -> None:
        while True:
            await asked.wait()
            asked.clear()
            await work()

    async def _hand_over(self, handover: Handover) -> None:
        """Where only one process can do what this one does, nothing is handed over."""
        if self._trace is not None or (self._site is not None and self._site.records):
            _log.error("while it records or traces, no other one can go on; this one does")
            return
        await handover.pass_on()

    async def _observed(self, server: Server, page: Page, port: int) -> None:
        """Let others see how it is. OSError, the server stopped again, where the port cannot be had."""
        try:
            page.start(port, self._given.take(LOOPBACK, 0, METRICS))
        except OSError:
            await server.stop()
            raise
        wiring.tell(f"headrace: metrics at http://127.0.0.1:{port}/metrics")

    async def _reload(self, server: Server) -> None:
        """Take the file as it is now; one with mistakes is reported and changes nothing."""
        try:
            offline = self._site is not None and not self._site.records
            read = await asyncio.to_thread(wiring.read_catalogue, self._path, offline=offline)
        except (CatalogueFaults, OSError, UnicodeDecodeError) as error:
            wiring.tell(wiring.complaint(self._path, error))
            _log.error("the last good catalogue stays")
        except Exception:  # noqa: BLE001 whatever is wrong with a file must not end the reloading
            _log.exception("the last good catalogue stays")
        else:
            fresh = with_port(read, self._port)
            self._members = Path(fresh.gateway.members)
            wiring.learn_secrets(self._redactor, fresh)
            if self._site is not None:
                self._site.hiding.learn(credential_names(fresh))
            self._announce(server, await server.reload(fresh))
            _log.warning("catalogue reloaded: %d sources", len(fresh.sources))

    def _announce(self, server: Server, bound: list[Bound]) -> None:
        """One line on standard error for each listener, and each port for calls in, that is newly there."""
        ports = set(server.call_ports)
        told = [each.announcement for each in bound]
        told += [f"headrace: taking calls in on {where(*each)}" for each in sorted(ports - self._call_ports)]
        self._call_ports = ports
        for line in told:
            wiring.tell(line)


async def _save(parts: wiring.Parts, handover: Handover) -> None:
    """Now and then, unless another process does; never returns."""
    while True:
        await asyncio.sleep(limits.ACCOUNTS_SAVED_SECONDS)
        if not handover.followed:
            await parts.save_accounts()


def _tasks() -> Number:
    loop = asyncio.get_running_loop()
    return Number("tasks", "What the loop has under way", lambda: len(asyncio.all_tasks(loop)))
