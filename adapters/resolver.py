"""host name -> addresses, by the system's resolver, without ever holding up a deadline."""

import asyncio
import socket
import threading
from collections.abc import Callable
from typing import Any, Final

from adapters.errors import CannotConnect

LookUp = Callable[[str, int], list[str]]
"""A blocking look-up: addresses as text. OSError or UnicodeError where there are none."""

_Answer = list[str] | Exception

_NO_SUCH_HOST: Final = "No such host"


def look_up(host: str, port: int) -> list[str]:
    """What getaddrinfo(3) says of TCP addresses, in its order (RFC 6724)."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return [str(address[0]) for *_, address in found]


class SystemResolver:
    """A `Resolver` (see adapters.addresses) on daemon threads.

    A look-up cannot be cancelled and may take half a minute where no name server answers. A pool of
    threads would be used up by a few of them, and would hold up the end of the program; so each host has
    a thread of its own while it is looked up, which all who ask meanwhile share. Answers are not kept.
    """

    def __init__(self, look_up: LookUp = look_up) -> None:
        self._look_up = look_up
        self._running: dict[tuple[str, int], asyncio.Future[_Answer]] = {}

    async def __call__(self, host: str, port: int) -> list[str]:
        """The addresses, or CannotConnect."""
        key = host, port
        answer = self._running.get(key)
        if answer is None:
            loop = asyncio.get_running_loop()
            answer = self._running[key] = loop.create_future()
            answer.add_done_callback(lambda _: self._running.pop(key, None))
            threading.Thread(
                target=self._answer, args=(loop, key, answer), name="headrace-lookup", daemon=True
            ).start()
        found = await asyncio.shield(answer)
        if isinstance(found, Exception):
            raise CannotConnect(_NO_SUCH_HOST) from found
        return found

    def _answer(
        self, loop: asyncio.AbstractEventLoop, key: tuple[str, int], answer: asyncio.Future[Any]
    ) -> None:
        """On the thread: look up, hand over. An error is a value, as nobody may be waiting any more."""
        found: _Answer
        try:
            found = self._look_up(*key)
        except (OSError, UnicodeError) as error:
            found = error
        except Exception as error:  # noqa: BLE001 - whoever waits must hear of it, whatever it is
            found = error
        try:
            loop.call_soon_threadsafe(answer.set_result, found)  # once: those who wait are shielded
        except RuntimeError:  # the loop is closed: the program ends
            return
