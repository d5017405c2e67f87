"""HearWish, CallerWish -> what the reserved ports give; every other wish is for the gateway's answers."""

from gateway.service.callers.ports import CallPorts
from gateway.service.clients.granting import Fulfiller
from gateway.session.wishes import CallerWish, Granted, Hearing, HearWish, Waiting, Wish


class CallerAnswers:
    """A `Fulfiller` in front of another."""

    def __init__(self, ports: CallPorts, others: Fulfiller) -> None:
        self._ports, self._others = ports, others

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting."""
        if isinstance(wish, HearWish):
            return Hearing(self._ports.port(wish.port).hear())
        if isinstance(wish, CallerWish):
            port = self._ports.port(wish.port)
            return Waiting(port.turn_away() if wish.refuse else port.waiting)
        return self._others.now(wish)

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """As the others do."""
        return await self._others.answer(wish, seconds)
