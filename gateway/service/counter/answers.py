"""CounterWish -> an open call to a place's counter; every other wish is for the gateway's answers."""

from adapters.errors import NotPossible
from gateway.catalogue.calling.targets import Ref, current
from gateway.catalogue.model import SerialDevice
from gateway.service.clients.granting import Fulfiller
from gateway.service.counter.call import CounterCall
from gateway.service.streams.tally import Tally, Way
from gateway.session.access import guarded
from gateway.session.counter.counter import Counter
from gateway.session.counter.transfers import unclean
from gateway.session.state import World
from gateway.session.wishes import Called, CounterWish, Granted, Provenance, Wish


class CounterAnswers:
    """A `Fulfiller` in front of another, for one client; `device` is its line's, None for a network's."""

    def __init__(self, others: Fulfiller, world: World, device: SerialDevice | None, tally: Tally) -> None:
        self._others, self._world, self._device = others, world, device
        self._tally = tally

    def now(self, wish: Wish) -> Granted | None:
        """What is granted without waiting."""
        return self._called(wish) if isinstance(wish, CounterWish) else self._others.now(wish)

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """As the others do."""
        if isinstance(wish, CounterWish):
            return self._called(wish)
        return await self._others.answer(wish, seconds)

    def _called(self, wish: CounterWish) -> Called:
        """NotPossible where there is no place; NotThere where it is not as it was."""
        ref, catalogue = current(self._world.catalogue(), wish.ref), self._world.catalogue()
        if ref.place is None:
            raise NotPossible("Only a place has a counter")
        counter = Counter(self._world, ref, ref.place, wish.settings, unclean(wish.settings, self._device))
        call = CounterCall(
            guarded(wish.check, counter.run()), self._others, catalogue.gateway.wait, ref.place.name
        )
        call.count(self._tally, Way.COUNTER)
        return Called(call, Provenance(_origin(ref), "its counter"))


def _origin(ref: Ref) -> str:
    """For WHY: never a path of this computer."""
    return "this gateway's disk" if ref.url.startswith("file:") else "/".join(ref.url.split("/")[:3])
