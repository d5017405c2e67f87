"""lines that come in -> who is here, who is not let in and why, who was told so and has not hung up yet."""

import logging
import socket
from collections import Counter
from collections.abc import Callable

from adapters import limits
from adapters.errors import GatewayFull
from gateway.catalogue.model import Catalogue, Listener
from gateway.service.clients.client import Client
from gateway.service.clients.refusing import Refused
from gateway.service.clients.resuming import Seat
from gateway.session.conversation import Session
from gateway.session.visitors import home_of

_log = logging.getLogger(__name__)


class Admission:
    """Who may come in. `stopping`: whether nobody may; `refused` counts who may not, by the reason told."""

    def __init__(
        self, catalogue: Callable[[], Catalogue], stopping: Callable[[], bool], refused: Counter[str]
    ) -> None:
        self._catalogue, self._stopping, self._refused = catalogue, stopping, refused
        self.room = 0  # for how many
        self.here: dict[Client, float] = {}  # with when each was heard as it came
        self.leaving: set[Client | Refused] = set()
        self._at_home: Counter[str] = Counter()  # clients by where they are

    @property
    def full(self) -> bool:
        """Whether there is room for nobody else."""
        return len(self.here) >= self.room

    def admit(self, client: Client, listener: Listener) -> str:
        """Let one more client in, or why not, in a sentence."""
        refusal = self._refusal(client.peer, listener, client.seat)
        if refusal:
            self._count(client.peer, refusal)
            self.leaving.add(client)
            return refusal
        self.here[client] = client.heard_at
        self._at_home[home_of(client.peer)] += 1
        return ""

    def turn_back(
        self, listener: Listener, begin: Callable[[str], Session], line: socket.socket, peer: str
    ) -> bool:
        """Whether a line that was just accepted stays outside, and was told so: where the loop has much to
        do, a protocol for it would come late. Not where it has a pace to be told at, unless too many are
        being told already. `begin` makes the session for a client at that address.
        """
        refusal = self._refusal(peer, listener, None)
        if not refusal:
            return False
        session = begin(peer)
        if session.reader.settings.metered and self.may_linger():
            return False
        self._count(peer, refusal)
        farewell = session.failed(GatewayFull(refusal), close=True)
        refused = Refused(line, b"".join(farewell), self.leaving.discard)
        self.leaving.add(refused)
        refused.tell()
        if not self.may_linger():
            refused.abort()
        return True

    def dismiss(self, client: Client) -> None:
        """A client is gone."""
        if client in self.here:
            del self.here[client]
            home = home_of(client.peer)
            self._at_home[home] -= 1
            if not self._at_home[home]:
                del self._at_home[home]
        self.leaving.discard(client)

    def may_linger(self) -> bool:
        """Whether a client that was turned away may take its time to hang up."""
        return len(self.leaving) <= limits.TURNED_AWAY

    def _refusal(self, peer: str, listener: Listener, seat: Seat | None) -> str:
        if not listener.admits(peer):
            return "Nobody may connect from there"
        most = self._catalogue().gateway.per_address
        if most is not None and peer and self._at_home[home_of(peer)] >= most:
            return "Too many connections from there"
        full = self.full and not self._back(seat)
        return "The gateway is full; try again later" if self._stopping() or full else ""

    def _count(self, peer: str, refusal: str) -> None:
        _log.info("peer=%s is turned away: %s", peer, refusal)
        self._refused[refusal.partition(";")[0]] += 1

    def _back(self, seat: Seat | None) -> bool:
        """Whether a full house has room: for the one machine of a port, back on a new line.

        The line that its seat knows stays until AGAIN; any other, which has asked nothing, gives way.
        """
        if seat is None:
            return False
        for each in self.here:
            if each.seat is seat and not seat.held_by(each):
                each.abort()
        return True
