"""What the process may have: descriptors for as many clients as wanted, and no core dumps."""

import asyncio
import contextlib
import importlib
import logging
from typing import Any, Final

from adapters import limits

try:
    resource: Any = importlib.import_module("resource")
except ImportError:  # pragma: no cover — not on every system; those without it have no such limit either
    resource = None

_log = logging.getLogger(__name__)
_OUT_OF_THEM: Final = "socket.accept() out of system resource"
_QUIET_SECONDS: Final = 10.0


def wanted(clients: int, ports: int) -> int:
    """How many descriptors so many clients want, with whoever is being turned away at the door and at so many
    reserved ports, and what the gateway itself has open.
    """
    return clients + (1 + ports) * limits.TURNED_AWAY + limits.SPARE_DESCRIPTORS


def make_room(clients: int, ports: int) -> int:
    """Raise the soft limit of open files as far as needed and allowed; how many clients fit.

    `ports`: reserved ones, each of which may have callers whom it is turning away.
    """
    if resource is None:
        return clients
    least = wanted(clients, ports)
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < least:
        soft = least if hard == resource.RLIM_INFINITY else min(least, hard)
        with contextlib.suppress(OSError, ValueError):  # forbidden: then it stays as it was
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        soft = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    if soft == resource.RLIM_INFINITY or soft >= least:
        return clients
    fit: int = max(1, soft - wanted(0, ports))
    _log.warning("open files are limited to %d: only %d of %d clients fit", soft, fit, clients)
    return fit


def no_core_dumps() -> None:
    """A core dump would hold every secret that the process has (CWE-528)."""
    if resource is not None:
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


class Complaints:
    """The loop's exception handler: being out of descriptors is said now and then, not for each attempt."""

    def __init__(self) -> None:
        self._said_at = -_QUIET_SECONDS

    def __call__(self, loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """What asyncio calls (`loop.set_exception_handler`)."""
        if context.get("message") != _OUT_OF_THEM:
            loop.default_exception_handler(context)
        elif loop.time() - self._said_at >= _QUIET_SECONDS:
            self._said_at = loop.time()
            _log.error("no descriptor is left for another client")
