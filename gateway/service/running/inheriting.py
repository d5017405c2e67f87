"""What a process was started with -> listening sockets: from whoever started it, and known by address, or
from the gateway that it follows, and known by what they were opened for.
"""

import json
import logging
import os
import socket
from collections.abc import Iterable, Mapping, MutableMapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

_log = logging.getLogger(__name__)

Spot: TypeAlias = tuple[str, int, int]
"""Host and port as the catalogue says, and a number where several take a free port."""

CALLS: Final = -1
"""The number of a spot where calls come in: one of the reserved ports."""
METRICS: Final = -2
"""The number of the spot where numbers are collected."""

_FIRST: Final = 3  # sd_listen_fds(3): SD_LISTEN_FDS_START
HANDED: Final = "HEADRACE_HANDED"
"""The variable with which one gateway tells the next which descriptors are whose."""


@dataclass(slots=True)
class Inherited:
    """Sockets that listen already. Each is given out once; `close` ends those that nobody wanted."""

    by_spot: dict[Spot, list[socket.socket]] = field(default_factory=dict)
    others: list[socket.socket] = field(default_factory=list)
    tether: socket.socket | None = None  # to the gateway that this one follows

    def take(self, host: str, port: int, number: int = 0) -> list[socket.socket]:
        """Those for this spot, none where it is to be opened."""
        given = self.by_spot.pop((host, port, number), [])
        if given or not port or not self.others:
            return given
        wanted = _addresses(host, port)
        given = [each for each in self.others if each.getsockname()[:2] in wanted]
        self.others = [each for each in self.others if each not in given]
        return given

    def has(self, host: str, port: int, number: int) -> bool:
        """Whether the gateway before this one had that spot."""
        return (host, port, number) in self.by_spot

    def close(self, *, calls: bool = True) -> None:
        """Those that no part of the catalogue wanted; `calls`: those of reserved ports, too."""
        for spot in [each for each in self.by_spot if calls or each[2] != CALLS]:
            self.others += self.by_spot.pop(spot)
        for each in self.others:
            host, port = each.getsockname()[:2]
            _log.error("a socket was handed over that the catalogue does not name: %s port %d", host, port)
            each.close()
        self.others = []


def inherited(environment: MutableMapping[str, str] | None = None) -> Inherited:
    """What this process was given; the variables that say so are removed, since they are for it alone.

    LISTEN_FDS and LISTEN_PID are those of sd_listen_fds(3). Descriptors that are no listening sockets of TCP
    are left alone, and the log says so.
    """
    variables = os.environ if environment is None else environment
    handed = variables.pop(HANDED, None)
    count, process = variables.pop("LISTEN_FDS", ""), variables.pop("LISTEN_PID", "")
    variables.pop("LISTEN_FDNAMES", None)
    if handed is not None:
        return _handed(json.loads(handed))
    found = Inherited()
    if process == str(os.getpid()) and count.isdecimal():
        found.others = [*_listening(range(_FIRST, _FIRST + int(count)))]
    return found


def told(spots: Mapping[Spot, Iterable[int]], tether: int) -> str:
    """The value of HANDED: descriptors by spot, and the one of the tether."""
    listed = [[*spot, [*descriptors]] for spot, descriptors in spots.items()]
    return json.dumps({"tether": tether, "spots": listed})


def _handed(said: dict[str, Any]) -> Inherited:
    tether = socket.socket(fileno=said["tether"])
    tether.set_inheritable(False)
    found = Inherited(tether=tether)
    for host, port, number, descriptors in said["spots"]:
        found.by_spot[host, port, number] = [*_listening(descriptors)]
    return found


def _listening(descriptors: Iterable[int]) -> Iterable[socket.socket]:
    for each in descriptors:
        os.set_inheritable(each, False)
        made = _socket(each)
        if made is None:
            _log.error("descriptor %d is no socket that listens for TCP", each)
        else:
            yield made


def _socket(descriptor: int) -> socket.socket | None:
    try:
        made = socket.socket(fileno=descriptor)
    except OSError:
        return None
    inet = made.family in (socket.AF_INET, socket.AF_INET6) and made.type is socket.SOCK_STREAM
    if inet and made.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN):
        return made
    made.detach()
    return None


def _addresses(host: str, port: int) -> set[tuple[str, int]]:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except OSError:
        return set()
    return {(str(address[0]), int(address[1])) for *_, address in found}
