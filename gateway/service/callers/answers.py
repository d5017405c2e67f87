"""HearWish, CallerWish -> what the reserved ports give; every other wish is for the gateway's answers."""

from gateway.service.callers.ports import CallPorts
from gateway.service.clients.granting import Fulfiller
from gateway.service.streams.open_call import OpenCall
from gateway.service.streams.tally import Tally, Way
from gateway.session.wishes import Called, CallerWish, Granted, Hearing, HearWish, Waiting, Wish


class CallerAnswers:
    """A `Fulfiller` in front of another."""

    def __init__(self, ports: CallPorts, others: Fulfiller, tally: Tally) -> None:
        self._ports, self._others, self._tally = ports, others, tally

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting."""
        if isinstance(wish, HearWish):
            return Hearing(self._ports.port(wish.port).hear())
        if isinstance(wish, CallerWish):
            port = self._ports.port(wish.port)
            return Waiting(port.turn_away() if wish.refuse else port.waiting)
        return self._others.now(wish)

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """As the others do; a call is counted."""
        granted = await self._others.answer(wish, seconds)
        if isinstance(granted, Called) and isinstance(granted.call, OpenCall):
            granted.call.count(self._tally, Way.OUT)
        return granted
