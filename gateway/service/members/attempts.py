"""wrong secrets, and when -> how long whoever sent them has to wait (OWASP Authentication Cheat Sheet).

Counted are one member from one address, all members from one address, and one member from everywhere. Time is
told by whoever asks.
"""

import math
from collections import OrderedDict
from dataclasses import dataclass
from typing import TypeAlias

from adapters import limits
from gateway.session.visitors import home_of

_Key: TypeAlias = tuple[str, str]
"""A home and a member; either may be "", for all."""


@dataclass(slots=True)
class _Count:
    """Wrong secrets in a row."""

    wrong: int = 0
    last: float = 0.0
    locked_until: float = 0.0


class Attempts:
    """Of one gateway, since it started."""

    def __init__(self) -> None:
        self._counts: OrderedDict[_Key, _Count] = OrderedDict()
        self._let_in: OrderedDict[_Key, None] = OrderedDict()

    def wait(self, member: str, address: str, now: float) -> int:
        """Whole seconds until that member may be tried from that address; 0: now."""
        home = home_of(address)
        keys = [(home, member), (home, "")]
        if (home, member) not in self._let_in:
            keys.append(("", member))
        until = max(self._counts[key].locked_until if key in self._counts else 0.0 for key in keys)
        return max(0, math.ceil(until - now))

    def failed(self, member: str, address: str, now: float) -> None:
        """It was wrong."""
        home = home_of(address)
        self._count((home, member), now, limits.LOGIN_TRIES, doubles=True)
        self._count((home, ""), now, limits.LOGIN_ADDRESS_TRIES, doubles=False)
        self._count(("", member), now, limits.LOGIN_MEMBER_TRIES, doubles=False)

    def accepted(self, member: str, address: str) -> None:
        """It was right: that member's wrong ones from there are forgotten, and those from elsewhere lock it
        out there no more.
        """
        key = (home_of(address), member)
        self._counts.pop(key, None)
        self._let_in[key] = None
        self._let_in.move_to_end(key)
        while len(self._let_in) > limits.LOGIN_KNOWN:
            self._let_in.popitem(last=False)

    def _count(self, key: _Key, now: float, tries: int, *, doubles: bool) -> None:
        count = self._counts.setdefault(key, _Count())
        self._counts.move_to_end(key)
        if now - count.last > limits.LOGIN_FORGET_SECONDS:
            count.wrong = 0
        count.wrong, count.last = count.wrong + 1, now
        beyond = count.wrong - tries
        if beyond >= 0:
            times = min(beyond, 16) if doubles else 0
            seconds = limits.LOGIN_LOCK_SECONDS * 2**times
            count.locked_until = now + min(seconds, limits.LOGIN_LOCK_MOST_SECONDS)
        while len(self._counts) > limits.LOGIN_KNOWN:
            self._counts.popitem(last=False)
