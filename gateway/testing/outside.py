"""What a gateway under test may reach: this machine, and names as the test has them.

The gateway's own rule (`adapters.addresses`) stays in force: a loopback address is dialled only for an origin
that the catalogue names, or that its `allow` has. This is a second rule around it, so that a test that goes
wrong asks nobody else: names are looked up in a table, and the event loop opens no connection that leaves.
"""

import asyncio
import errno
import logging
from collections.abc import Callable, Mapping, Sequence
from ipaddress import ip_address
from typing import Any

from adapters.addresses import Resolver, canonical_host
from adapters.dav.adapter import DavAdapter
from adapters.errors import CannotConnect
from adapters.ftp.adapter import FtpAdapter
from adapters.http.adapter import HttpAdapter
from adapters.http.link.link import Link
from adapters.port import Adapter, AdapterFactory
from adapters.recorded.http.recording import RecordingLink
from adapters.stream.adapter import LineAdapter
from gateway.service.clocks import Clock
from gateway.service.sites import Mode, Site

_log = logging.getLogger(__name__)


class StayingLoop(asyncio.SelectorEventLoop):
    """An event loop that connects to loopback only. `refused` gets "address:port" of what it did not dial."""

    def __init__(self, refused: list[str]) -> None:
        super().__init__()
        self.refused = refused

    async def sock_connect(self, sock: Any, address: Any) -> None:
        """OSError (ENETUNREACH) for any other address."""
        if isinstance(address, tuple) and not ip_address(str(address[0]).partition("%")[0]).is_loopback:
            where = f"{address[0]}:{address[1]}"
            self.refused.append(where)
            _log.warning("not dialled: %s is not this machine; network=True allows it", where)
            raise OSError(errno.ENETUNREACH, "a gateway under test stays on this machine")
        await super().sock_connect(sock, address)


def names(hosts: Mapping[str, str | Sequence[str]]) -> Resolver:
    """A look-up that knows `hosts`, host to addresses, and localhost, and asks no name server."""
    known = {canonical_host(host): [at] if isinstance(at, str) else list(at) for host, at in hosts.items()}
    known.setdefault("localhost", ["127.0.0.1"])

    async def resolve(host: str, port: int) -> list[str]:
        found = known.get(canonical_host(host))
        if found is None:
            _log.warning("not looked up: %s; hosts={'%s': '127.0.0.1'} gives it an address", host, host)
            raise CannotConnect("No such host")
        return found

    return resolve


def maker(clock: Clock, resolve: Resolver | None, site: Site | None) -> Callable[[AdapterFactory], Adapter]:
    """What makes a gateway's adapters. `resolve` is None for the system's."""

    def live(factory: AdapterFactory) -> Adapter:
        if factory is HttpAdapter:
            return HttpAdapter(resolve, now=clock.now)
        if factory is DavAdapter:
            return DavAdapter(resolve, now=clock.now)
        if factory is LineAdapter:
            return LineAdapter(resolve)
        return FtpAdapter(resolve, clock.now) if factory is FtpAdapter else factory()

    def with_site(factory: AdapterFactory) -> Adapter:
        assert site is not None
        if factory is HttpAdapter:
            if site.mode is Mode.RECORD:
                link: Link = RecordingLink(site.folder, resolve)
                return HttpAdapter(now=clock.now, link=link)
            return site.make(factory)
        return site.make(lambda: live(factory))

    return live if site is None else with_site
