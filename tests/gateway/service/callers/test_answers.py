"""Which wishes the reserved ports grant, and that the others go on."""

from types import MappingProxyType

import pytest

from adapters.errors import FarBusy, NotPossible, NotThere
from gateway.catalogue.model import Catalogue, ReservedPort
from gateway.service.callers.answers import CallerAnswers
from gateway.service.callers.ports import CallPorts
from gateway.service.streams.tally import Tally
from gateway.session.wishes import CallerWish, Granted, Hearing, HearWish, Waiting, Wish, Worked, WorkWish
from tests.gateway.service.callers.callers import free_port


class Others:
    """Answers of another kind."""

    def now(self, wish: Wish) -> Granted | None:
        return Worked("at once") if isinstance(wish, WorkWish) and not wish.size else None

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        if isinstance(wish, WorkWish):
            return Worked(seconds)
        raise NotPossible


async def test_what_is_granted_by_whom() -> None:
    reserved = ReservedPort(free_port())
    catalogue = Catalogue(reserved=MappingProxyType({reserved.port: reserved}))
    tally = Tally()
    ports = CallPorts(lambda: catalogue, tally)
    answers = CallerAnswers(ports, Others(), tally)
    with pytest.raises(NotThere):  # not open yet
        answers.now(HearWish(reserved.port))
    await ports.start()
    hearing = answers.now(HearWish(reserved.port))
    assert isinstance(hearing, Hearing)
    with pytest.raises(FarBusy):
        answers.now(HearWish(reserved.port))
    hearing.hearing.drop()
    again = answers.now(HearWish(reserved.port))
    assert isinstance(again, Hearing)
    again.hearing.drop()
    assert answers.now(CallerWish(reserved.port)) == Waiting(None)
    assert answers.now(CallerWish(reserved.port, refuse=True)) == Waiting(None)
    assert answers.now(WorkWish(0, list)) == Worked("at once")
    assert answers.now(WorkWish(1, list)) is None
    assert await answers.answer(WorkWish(1, list), 2.5) == Worked(2.5)
    await ports.close()
