"""A process that a service manager started -> what it tells that manager: ready, stopping, still alive.

The protocol is the one of sd_notify(3): lines of NAME=value in a datagram to the socket that NOTIFY_SOCKET
names. It is written out here since it is so small, and the libraries for it want a compiler.
"""

import asyncio
import logging
import os
import socket
from collections.abc import MutableMapping
from typing import Final

_log = logging.getLogger(__name__)
_MICROSECONDS: Final = 1_000_000
_ADDRESS, _EVERY, _WHOSE = "NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"


class Manager:
    """Who started this process, or nobody. The variables are removed: they are for this process alone."""

    def __init__(self, environment: MutableMapping[str, str] | None = None) -> None:
        variables = os.environ if environment is None else environment
        self._address = variables.pop(_ADDRESS, "")
        self._every = variables.pop(_EVERY, "")
        whose = variables.pop(_WHOSE, "")
        watched = self._every.isdecimal() and int(self._every) > 0 and whose in ("", str(os.getpid()))
        self.seconds: float | None = int(self._every) / _MICROSECONDS if watched else None
        """Within how long it has to be told that this process is alive, None for never."""

    @property
    def variables(self) -> dict[str, str]:
        """What the process that follows this one needs, to tell the same manager."""
        kept = {_ADDRESS: self._address, _EVERY: self._every}
        return {name: value for name, value in kept.items() if value}

    def say(self, **states: str | int) -> None:
        """Send them, in capitals. A manager whose queue is full is not waited for."""
        if not self._address:
            return
        text = "\n".join(f"{name.upper()}={value}" for name, value in states.items())
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
                line.setblocking(False)
                line.sendto(text.encode(), address)
        except OSError as error:
            _log.warning("the service manager cannot be told: %s", error.strerror)

    async def stay_alive(self) -> None:
        """Say so twice in each span, from the loop: a loop that stands still says nothing. Returns at once
        where nobody wants to be told.
        """
        while self.seconds is not None:
            self.say(watchdog=1)
            await asyncio.sleep(self.seconds / 2)
