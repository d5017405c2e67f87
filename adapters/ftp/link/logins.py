"""An account and a folder -> a login that is in that folder: kept ones are used again, few at one time.

A login is used by one operation at a time. It is kept for limits.LOGIN_IDLE_SECONDS after an operation that
left it in step, and closed after any other. One origin has at most limits.LOGINS_PER_ORIGIN at one time; an
operation that reads holds none of the last one, so that a copy within one server, which reads and writes,
always gets its second login. A server that lets in fewer says so at a login that others were open beside:
then that many are what it gets, until all are closed.
"""

import asyncio
import ssl
from collections import deque
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial

from adapters import limits
from adapters.addresses import Resolver, guard_for
from adapters.errors import BrokenOff, CredentialsRefused, FarBusy, HeadraceError, TooSlow
from adapters.files import Target
from adapters.ftp.link.deadline import Deadline
from adapters.ftp.link.login import Account, Login, open_login
from adapters.ftp.locations import Location, Path, login_of
from adapters.port import Origin
from adapters.trust import TrustKey, trust_context, trust_key


@dataclass(slots=True)
class _Lane:
    """The logins of one origin."""

    most: int = limits.LOGINS_PER_ORIGIN
    used: int = 0
    reading: int = 0
    idle: list[Login] = field(default_factory=list)
    good: set[Account] = field(default_factory=set)
    waiting: deque[asyncio.Future[None]] = field(default_factory=deque)

    def has_room(self, *, reading: bool) -> bool:
        """Whether one more may be used."""
        return self.used < self.most and (not reading or self.reading < max(1, self.most - 1))

    def wake(self) -> None:
        """Let everybody who waits look again, in the order of asking."""
        for each in self.waiting:
            if not each.done():
                each.set_result(None)

    async def change(self, deadline: Deadline) -> None:
        """Wait until something was given back."""
        asked: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.waiting.append(asked)
        try:
            async with deadline.step(limits.TRANSFER_SECONDS):
                await asked
        finally:
            self.waiting.remove(asked)


class Logins:
    """The pool. One event loop; `resolve` is the outside world, for tests to replace."""

    def __init__(self, resolve: Resolver) -> None:
        self._resolve = resolve
        self._lanes: dict[Origin, _Lane] = {}
        self._contexts: dict[TrustKey | None, ssl.SSLContext] = {}
        self._closed = False
        self.opened = 0  # control connections so far

    @asynccontextmanager
    async def at(
        self, target: Target, location: Location, folder: Path, deadline: Deadline, *, reading: bool = False
    ) -> AsyncIterator[Login]:
        """A login that is in `folder`. NotThere where that is not there."""
        account = self._account(target, location)
        origin = account.server.origin
        lane = self._lanes.setdefault(origin, _Lane())
        try:
            await self._turn(lane, deadline, reading=reading)
        except BaseException:
            self._forget(lane, origin)
            raise
        login: Login | None = None
        try:
            login = await self._ready(lane, account, target, folder, deadline)
            yield login
        finally:
            lane.used -= 1
            lane.reading -= reading
            if login is not None:
                self._keep(lane, login)
            lane.wake()
            self._forget(lane, origin)

    async def aclose(self) -> None:
        """Close every login that is kept; those in use are closed after use."""
        self._closed = True
        for lane in self._lanes.values():
            while lane.idle:
                lane.idle.pop().close()

    def _account(self, target: Target, location: Location) -> Account:
        user, secret = login_of(target)
        server = location.server
        guard = guard_for(target.reach, server.host, server.port)
        return Account(server, user, secret, guard, trust_key(target.ca) if server.tls else None)

    async def _turn(self, lane: _Lane, deadline: Deadline, *, reading: bool) -> None:
        while not lane.has_room(reading=reading):
            await lane.change(deadline)
        lane.used += 1
        lane.reading += reading

    async def _ready(
        self, lane: _Lane, account: Account, target: Target, folder: Path, deadline: Deadline
    ) -> Login:
        while True:
            login = self._kept(lane, account)
            kept = login is not None
            if login is None:
                login = await self._fresh(lane, account, target, deadline)
            if login is None:
                continue
            # Nothing is changed yet, so a kept login that turns out to be dead is replaced unseen.
            login.deadline = deadline.within(limits.LOGIN_PROBE_SECONDS) if kept else deadline
            try:
                await login.enter(folder)
            except (BrokenOff, FarBusy, TooSlow):
                self._keep(lane, login)
                if not kept or deadline.left() <= 0:
                    raise
            except BaseException:
                self._keep(lane, login)
                raise
            else:
                login.deadline = deadline
                return login

    async def _fresh(self, lane: _Lane, account: Account, target: Target, deadline: Deadline) -> Login | None:
        """A new login; None where it has to be tried again, as the server had too many of ours open."""
        while lane.idle and lane.used + len(lane.idle) > lane.most:
            lane.idle.pop(0).close()  # somebody else's makes room
        try:
            login = await open_login(account, self._context(target, account), deadline, self._resolve)
        except (FarBusy, CredentialsRefused) as error:
            if not self._at_its_limit(lane, account, error):
                raise
        else:
            lane.good.add(account)
            self.opened += 1
            return login
        if not lane.idle:
            lane.most = max(1, min(lane.most, lane.used - 1))
            await lane.change(deadline)
        elif all(each.account != account for each in lane.idle):
            lane.idle.pop(0).close()
            await asyncio.sleep(limits.LOGIN_PAUSE_SECONDS)  # the server has to notice
        return None

    def _at_its_limit(self, lane: _Lane, account: Account, error: HeadraceError) -> bool:
        """Whether a refused login only means that there are too many: others of ours are open."""
        if isinstance(error, CredentialsRefused) and account not in lane.good:
            return False
        return lane.used > 1 or bool(lane.idle)

    def _context(self, target: Target, account: Account) -> ssl.SSLContext | None:
        """One context for each set of trust anchors; a session can be resumed only within its own."""
        if not account.server.tls:
            return None
        key = trust_key(target.ca)
        context = self._contexts.get(key)
        if context is None:
            while len(self._contexts) >= limits.POOLS:
                self._contexts.pop(next(iter(self._contexts)))
            context = self._contexts[key] = trust_context(target.ca)
        return context

    def _kept(self, lane: _Lane, account: Account) -> Login | None:
        """The login of this account that was used last."""
        for login in reversed(lane.idle.copy()):
            if login.account == account:
                lane.idle.remove(login)
                if login.reusable:
                    return login
                login.busy = True
                login.close()
        return None

    def _keep(self, lane: _Lane, login: Login) -> None:
        if self._closed or not login.reusable:
            login.close()
            return
        lane.idle.append(login)
        asyncio.get_running_loop().call_later(
            limits.LOGIN_IDLE_SECONDS, partial(self._expire, lane, login, login.commands)
        )

    def _expire(self, lane: _Lane, login: Login, commands: int) -> None:
        """Close a login that was not used since."""
        if login in lane.idle and login.commands == commands:
            lane.idle.remove(login)
            login.close()
            self._forget(lane, login.account.server.origin)

    def _forget(self, lane: _Lane, origin: Origin) -> None:
        """Origins come and go; only those in use are remembered."""
        if not lane.used and not lane.idle and not lane.waiting and self._lanes.get(origin) is lane:
            del self._lanes[origin]
