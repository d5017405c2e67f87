"""A catalogue -> a gateway that runs beside the test, on free ports of loopback, until the test is over."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Final

from adapters import limits
from adapters.redaction import Redactor
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import Catalogue, Listener
from gateway.commands import wiring
from gateway.service.adapters import Adapters
from gateway.service.clocks import Clock
from gateway.service.doors import Bound
from gateway.service.server import Server
from gateway.service.sites import Site
from gateway.testing.background import Background
from gateway.testing.clocks import HandClock, clock_of
from gateway.testing.logs import Log
from gateway.testing.outside import StayingLoop, maker, names
from gateway.testing.sites import RecordedSite, text_of

LOOPBACK: Final = "127.0.0.1"
_TURNS: Final = 5  # of the loop, more than asyncio takes to let somebody in


class GatewayErrors(AssertionError):
    """A gateway logged errors of its own while a test ran: their lines."""


class Gateway:
    """One that runs. `host` and `port` are its first listener's; `bound` has them all.

    `refused` are addresses and ports that it did not dial because they are not this machine's.
    """

    def __init__(
        self,
        *,
        catalogue: Catalogue,
        clock: Clock,
        log: Log,
        bound: Sequence[Bound],
        refused: Sequence[str],
        ending: ExitStack,
    ) -> None:
        self.catalogue = catalogue
        self.bound = tuple(bound)
        self.host, self.port = bound[0].host, bound[0].port
        self.refused = refused
        self._clock, self._log, self._ending = clock, log, ending

    @property
    def log(self) -> tuple[str, ...]:
        """What it has logged so far, a line each."""
        return tuple(self._log.lines)

    @property
    def errors(self) -> tuple[str, ...]:
        """Those lines that tell of a failure of its own; the far servers' are not among them."""
        return tuple(self._log.errors)

    @property
    def clock(self) -> HandClock:
        """The clock that stands still; TypeError where the gateway goes by this machine's."""
        if not isinstance(self._clock, HandClock):
            raise TypeError("this gateway's clock runs: headrace_gateway(..., clock='2026-05-17T12:00:00Z')")
        return self._clock

    def stop(self) -> None:
        """Finish replies in flight and end; again has no effect."""
        self._ending.close()


def started(
    catalogue: Catalogue,
    site: Site | None,
    clock: Clock,
    hosts: Mapping[str, str | Sequence[str]] | None,
    log: Log,
) -> Gateway:
    """A gateway for a checked catalogue. `hosts` are the names it knows; None: all of the network."""
    refused: list[str] = []
    with ExitStack() as starting:
        starting.callback(log.end)
        make_loop = asyncio.new_event_loop if hosts is None else partial(StayingLoop, refused)
        loop = Background("headrace-gateway", make_loop)
        starting.callback(loop.stop)
        log.owner = loop
        resolve = None if hosts is None else names(hosts)
        running = _Running(catalogue, site, clock, Adapters(maker(clock, resolve, site)))
        bound = loop.run(running.start(), limits.TESTING_STOP_SECONDS)
        patience = catalogue.gateway.wait * 2 + limits.TESTING_STOP_SECONDS
        starting.callback(lambda: loop.run(running.stop(), patience))
        return Gateway(
            catalogue=catalogue,
            clock=clock,
            log=log,
            bound=bound,
            refused=refused,
            ending=starting.pop_all(),
        )


class _Running:
    """A server and its parts, on the loop's thread."""

    def __init__(self, catalogue: Catalogue, site: Site | None, clock: Clock, adapters: Adapters) -> None:
        self._made = (catalogue, site, clock, adapters)
        self._parts: wiring.Parts
        self._server: Server

    async def start(self) -> list[Bound]:
        catalogue, site, clock, adapters = self._made
        self._parts = wiring.Parts(catalogue, site=site, clock=clock, adapters=adapters)
        self._server = Server(catalogue, self._parts.answers, clock, accounts=self._parts.accounts)
        try:
            return await self._server.start()
        except BaseException:
            await self._parts.aclose()
            raise

    async def stop(self) -> None:
        """Who was being let in meanwhile is turned away the second time: in a process that goes on, no
        socket may stay.
        """
        try:
            await self._server.stop()
            for _ in range(_TURNS):
                await asyncio.sleep(0)
            await self._server.stop()
        finally:
            await self._parts.aclose()


class Gateways:
    """Starts gateways, any number at once. Relative paths count from `folder`, the test's own."""

    def __init__(self, folder: Path, scratch: Callable[[], Path]) -> None:
        self._folder, self._scratch = folder, scratch
        self._running: list[tuple[Gateway, bool]] = []

    def __call__(
        self,
        catalogue: str | Path,
        *,
        instead: Mapping[str, str] | None = None,
        site: RecordedSite | None = None,
        clock: str | datetime | Clock | None = None,
        profile: str = "",
        greeting: bool | None = None,
        resume: bool | None = None,
        wait: float | None = None,
        allow: Sequence[str] = (),
        hosts: Mapping[str, str | Sequence[str]] | None = None,
        network: bool = False,
        log: str = "warning",
        fail_on_errors: bool = True,
    ) -> Gateway:
        """A gateway for a catalogue: its text, or the path of its file.

        `instead`: texts of the catalogue and what stands in their place, such as a far server's origin and an
        upstream's `url`; each must be there. `clock`: a time at which it stands, or "recorded".
        `profile`, `greeting`, `resume` are the first listener's; `wait` is `[gateway] wait` in seconds.
        Listeners take free ports, and no serial device; reserved ports are opened under their own numbers.
        The gateway may go to loopback for origins that its catalogue names; for others, such as a redirect's,
        `allow` is added to the catalogue's own. `hosts` are the names it can look up. `network=True`: it may
        leave this machine. `fail_on_errors`: what it logs as an error fails the test at its end.
        CatalogueFaults, OSError, SiteFault, ValueError, KeyError: what it was given cannot be used.
        """
        if network and hosts is not None:
            raise ValueError("hosts are for a gateway that stays on this machine: leave network out")
        redactor = Redactor()
        path, text = self._text(catalogue)
        offline = site is not None and not site.record
        try:
            read = wiring.read_catalogue(path, offline=offline, text=_replaced(text, instead or {}))
        except CatalogueFaults as faults:
            faults.add_note(faults.render())
            raise
        wiring.learn_secrets(redactor, read)
        read = self._here(read, profile=profile, greeting=greeting, resume=resume, wait=wait, allow=allow)
        opened = None if site is None else site.opened(read, redactor)
        goes_by = clock_of(clock, None if opened is None else opened.folder.latest)
        if opened is not None:
            opened = replace(opened, clock=goes_by)
        known = None if network else (hosts or {})
        made = started(read, opened, goes_by, known, Log(log, redactor))
        self._running.append((made, fail_on_errors))
        return made

    def _text(self, catalogue: str | Path) -> tuple[Path, str]:
        """The file whose folder relative paths count from, and the text."""
        text = text_of(catalogue, self._folder)
        return self._folder / (wiring.DEFAULT_CONFIG if text is catalogue else catalogue), text

    def _here(
        self,
        catalogue: Catalogue,
        *,
        profile: str,
        greeting: bool | None,
        resume: bool | None,
        wait: float | None,
        allow: Sequence[str],
    ) -> Catalogue:
        """With every listener at a free port of loopback, a new state folder, and what was told."""
        settings = replace(
            catalogue.gateway, state=str(self._scratch()), allow=(*catalogue.gateway.allow, *allow)
        )
        if wait is not None:
            settings = replace(settings, wait=wait)
        first, *others = (replace(each, host=LOOPBACK, port=0, device=None) for each in catalogue.listeners)
        if profile:
            first = replace(first, profile=_known_profile(catalogue, profile), by_address=())
        first = _changed(first, greeting, resume)
        reserved = {each: replace(found, host=LOOPBACK) for each, found in catalogue.reserved.items()}
        return replace(catalogue, gateway=settings, listeners=(first, *others), reserved=reserved)

    def close(self) -> None:
        """Stop them all. GatewayErrors where one that is not to have any logged errors."""
        with ExitStack() as ending:  # the last one pushed ends first
            for gateway, fails in self._running:
                if fails:
                    ending.callback(_no_errors, gateway)
                ending.callback(gateway.stop)
            self._running.clear()


def _no_errors(gateway: Gateway) -> None:
    if gateway.errors:
        raise GatewayErrors("a gateway logged errors:\n" + "\n".join(gateway.errors))


def _changed(listener: Listener, greeting: bool | None, resume: bool | None) -> Listener:
    if greeting is not None:
        listener = replace(listener, greeting=greeting)
    return listener if resume is None else replace(listener, resume=resume)


def _known_profile(catalogue: Catalogue, name: str) -> str:
    if name.upper() not in catalogue.profiles:
        raise KeyError(f"no profile {name}; there are {' '.join(sorted(catalogue.profiles)).lower()}")
    return name.upper()


def _replaced(text: str, instead: Mapping[str, str]) -> str:
    for old, new in instead.items():
        if old not in text:
            raise ValueError(f"instead: {old!r} does not occur in the catalogue")
        text = text.replace(old, new)
    return text
