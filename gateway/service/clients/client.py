"""What the server knows of its clients, whatever they speak, and they of it."""

from typing import Protocol

from gateway.catalogue.access import Rights
from gateway.catalogue.model import Listener
from gateway.service.clients.metering import Patience
from gateway.service.clients.resuming import Holder, Seat


class Client(Holder, Protocol):
    """One client's line, for the server that it belongs to."""

    heard_at: float
    peer: str  # its address, empty at a serial device

    @property
    def seat(self) -> Seat | None:
        """Where its session is kept when its line is lost, if anywhere."""
        ...

    @property
    def waits_for_call(self) -> bool:
        """Whether it is silent because it waits for a call in."""
        ...

    def turn_away(self, sentence: str) -> None:
        """Tell it that there is nothing more for it, and close."""
        ...

    def hurry(self) -> None:
        """There is no time for the rest of a reply in flight."""
        ...

    def abort(self) -> None:
        """Cut the line now."""
        ...

    async def gone(self) -> None:
        """Wait until the line is gone, all that was written with it."""
        ...


class House(Patience, Protocol):
    """What a client's line needs of the server it belongs to."""

    stopping: bool

    def admit(self, client: Client, listener: Listener) -> str:
        """Why it is not let in, in a sentence; empty where it is, and then counted until it is dismissed."""
        ...

    def answered(self, code: str) -> None:
        """One reply was sent."""
        ...

    def charge(self, payer: str, rights: Rights) -> None:
        """One request of that account; AskedTooOften where it is more than the rights allow."""
        ...

    def moved(self, payer: str | None, count: int) -> None:
        """Bytes that passed, and the account that they belong to, if any."""
        ...

    def seat_of(self, member: str) -> Seat:
        """Where the session of a member is kept whose line is lost."""
        ...

    def dismiss(self, client: Client) -> None:
        """The client is gone."""
        ...

    def may_linger(self) -> bool:
        """Whether a client that was turned away may take its time to hang up."""
        ...

    def wait_seconds(self) -> float:
        """Within how long a request is answered."""
        ...
