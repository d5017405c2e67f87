"""LoginWish -> whether it is that member, at the speed of one at a time; other wishes are for the answers."""

import asyncio
import logging
import time
from collections import Counter
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor

from adapters import limits
from adapters.errors import AskedTooOften, LoginRefused
from gateway.catalogue.access import Member
from gateway.service.clients.granting import Fulfiller
from gateway.service.members.attempts import Attempts
from gateway.service.members.codes import step_of
from gateway.service.members.passwords import hashed, matches
from gateway.session.wishes import Accepted, Granted, LoginWish, Wish

_log = logging.getLogger(__name__)


class MemberAnswers:
    """A `Fulfiller` in front of another, shared by all clients of one gateway.

    `members` are asked for anew each time; `epoch` is the time that codes go by, in seconds.
    """

    def __init__(
        self,
        members: Callable[[], Mapping[str, Member]],
        others: Fulfiller,
        epoch: Callable[[], float] = time.time,
        counts: Counter[str] | None = None,
    ) -> None:
        self._counts = Counter() if counts is None else counts
        self._members, self._others, self._epoch = members, others, epoch
        self._attempts = Attempts()
        self._turn = asyncio.Lock()
        self._waiting = 0
        self._used: dict[str, int] = {}  # the last code's step, by member
        self._worker = ThreadPoolExecutor(1, "login")
        self._nobody = ""  # a hash that is checked where there is none, so that both take as long

    def close(self) -> None:
        """Nobody logs in any more."""
        self._worker.shutdown(wait=False, cancel_futures=True)

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting: no login."""
        return None if isinstance(wish, LoginWish) else self._others.now(wish)

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """As the others do. LoginRefused takes its time; AskedTooOften tells how long to wait."""
        if not isinstance(wish, LoginWish):
            return await self._others.answer(wish, seconds)
        began = asyncio.get_running_loop().time()
        if self._waiting >= limits.LOGIN_QUEUE:
            raise AskedTooOften("Too many log in at once; wait", round(limits.LOGIN_DELAY_SECONDS))
        self._waiting += 1
        try:
            async with self._turn:
                accepted = await self._looked_at(wish)
        finally:
            self._waiting -= 1
        if accepted:
            return Accepted(wish.member)
        await asyncio.sleep(began + limits.LOGIN_DELAY_SECONDS - asyncio.get_running_loop().time())
        raise LoginRefused("LOGIN was not accepted")

    async def _looked_at(self, wish: LoginWish) -> bool:
        loop = asyncio.get_running_loop()
        wait = self._attempts.wait(wish.member, wish.address, loop.time())
        if wait:
            self._counts["locked out"] += 1
            raise AskedTooOften("Too many wrong secrets; wait", wait)
        member = self._members().get(wish.member)
        # A name that is none may be a secret in the wrong place: it is not logged.
        shown = "nobody of that name" if member is None else member.name
        if await loop.run_in_executor(self._worker, self._fits, member, wish.secret):
            self._attempts.accepted(wish.member, wish.address)
            self._counts["accepted"] += 1
            _log.info("peer=%s logged in as %s", wish.address, shown)
            return True
        self._counts["refused"] += 1
        self._attempts.failed(wish.member, wish.address, loop.time())
        _log.warning("peer=%s login refused: %s", wish.address, shown)
        return False

    def _fits(self, member: Member | None, secret: str) -> bool:
        """On a thread of its own. Both ways are looked at, whatever there is."""
        if not self._nobody:
            self._nobody = hashed("nobody")
        kept = member.password if member is not None and member.password else self._nobody
        right = matches(secret[: limits.SECRET_CHARACTERS], kept) and kept is not self._nobody
        if member is None or not member.key:
            return right
        step = step_of(secret, member.key, self._epoch(), self._used.get(member.name, -1))
        if step is None:
            return right
        self._used[member.name] = step
        return True
