"""HEAR as the session sees it (CONTRACT section 3)."""

from collections.abc import Sequence
from datetime import UTC, datetime
from types import MappingProxyType

import pytest

from adapters.errors import FarBusy
from gateway.catalogue.model import Catalogue, LineEnd, ReservedPort
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.wishes import Called, CallerWish, Granted, Hearing, HearWish, Provenance, Waiting, Wish
from tests.gateway.session.conftest import Talk

PORTS = {8200: ReservedPort(8200, lines=LineEnd.CR), 8201: ReservedPort(8201, raw=True)}
CATALOGUE = Catalogue(reserved=MappingProxyType(PORTS))


class Line:
    """A caller's line, in the session's hands."""

    datagrams = False
    dropped = 0

    def facts(self) -> Sequence[tuple[str, str]]:
        return [("SENT", "1 bytes"), ("HEARD", "2 bytes")]

    def drop(self) -> None:
        self.dropped += 1


class Wait:
    """A wait for a call."""

    dropped = 0

    def __init__(self) -> None:
        self.wake = lambda: None

    def taken(self) -> Called | None:
        return None

    def drop(self) -> None:
        self.dropped += 1


class Ports:
    """Reserved ports: who waits, and what was wished for."""

    def __init__(self) -> None:
        self.wait = Wait()
        self.waiting: str | None = None
        self.wishes: list[Wish] = []
        self.busy = False

    def grant(self, wish: Wish) -> Granted:
        self.wishes.append(wish)
        if self.busy:
            raise FarBusy("Somebody else hears or talks there")
        if isinstance(wish, HearWish):
            return Hearing(self.wait)
        assert isinstance(wish, CallerWish)
        return Waiting(self.waiting)


@pytest.fixture
def ports() -> Ports:
    return Ports()


@pytest.fixture
def talk(ports: Ports) -> Talk:
    world = World(lambda: CATALOGUE, lambda: datetime(2026, 5, 17, 12, tzinfo=UTC))
    return Talk(Session(world, "PLAIN"), ports.grant)


def still_hears(talk: Talk) -> bool:
    return talk.session.hearing is not None


def called(address: str = "192.0.2.7") -> Called:
    return Called(Line(), Provenance(f"tcp://{address}", "a call in"), address)


@pytest.mark.parametrize(
    ("request_line", "status"),
    [
        ("HEAR", "501"),
        ("HEAR x", "501"),
        ("HEAR 8200 x", "501"),
        ("HEAR 8200 who x", "501"),
        ("HEAR 123456", "501"),
        ("HEAR -1", "501"),
        ("HEAR 8199", "550"),
        ("HEAR 0", "550"),
        ("HEAR 8200 lines x", "501"),
        ("HEAR 08200", "150"),
        ("HEAR 8200 LINES", "150"),
        ("HEA 8200", "150"),
    ],
)
def test_words(talk: Talk, request_line: str, status: str) -> None:
    assert talk.status(request_line)[:3] == status


def test_which_ports_there_are(talk: Talk) -> None:
    assert talk.say("HEAR 8199") == ("550 00001 040 ..", ["Not reserved; 8200 8201 can be heard".ljust(40)])


def test_a_wait_and_its_end(talk: Talk, ports: Ports) -> None:
    assert talk.status("HEAR 8200") == "150 00000 000 .."
    assert ports.wishes == [HearWish(8200)]
    hearing = talk.session.hearing
    assert hearing is not None
    call = called()
    lines = b"".join(talk.session.answered(call))
    assert lines == b"200 00001 040 ..\r\n" + b"192.0.2.7".ljust(40) + b"\r\n"
    assert not still_hears(talk)
    talking = talk.session.talking
    assert talking is not None
    assert talking.call is call.call
    to_far = talking.to_far()
    assert to_far is not None
    assert to_far.feed(b"x\r") == b"x\r"  # lines = "cr"


def test_an_address_that_does_not_fit_is_cut(talk: Talk, ports: Ports) -> None:
    address = "2001:db8:1111:2222:3333:4444:5555:6666"
    ports.waiting = address
    assert talk.status("SET cols=16") == "200 00000 000 .."
    assert talk.say("HEAR 8200 who") == ("200 00001 016 .C", [address[:16]])
    assert ports.wishes == [CallerWish(8200)]
    talk.status("HEAR 8200 refuse")
    assert ports.wishes[-1] == CallerWish(8200, refuse=True)


def test_whatever_is_typed_ends_the_wait(talk: Talk, ports: Ports) -> None:
    assert talk.status("HEAR 8200") == "150 00000 000 .."
    assert talk.status("NOOP x")[:3] == "503"
    assert ports.wait.dropped == 1
    assert not still_hears(talk)
    assert talk.status("NOOP x")[:3] == "200"


def test_a_lost_line_ends_the_wait(talk: Talk, ports: Ports) -> None:
    talk.status("HEAR 8200")
    talk.session.lost()
    assert ports.wait.dropped == 1


def test_can_ends_the_wait_with_503(talk: Talk, ports: Ports) -> None:
    talk.status("HEAR 8200")
    lines = talk.session.cancelled()
    assert lines is not None
    assert b"".join(lines)[:3] == b"503"
    assert ports.wait.dropped == 1


def test_no_raw_bytes_with_xon(talk: Talk) -> None:
    talk.status("SET flow=xon")
    assert talk.status("HEAR 8201")[:3] == "503"
    assert talk.status("HEAR 8201 lines")[:3] == "150"
    talk.session.lost()
    assert talk.status("HEAR 8200")[:3] == "150"


def test_a_port_in_use(talk: Talk, ports: Ports) -> None:
    ports.busy = True
    assert talk.status("HEAR 8200")[:3] == "450"
    assert not still_hears(talk)
