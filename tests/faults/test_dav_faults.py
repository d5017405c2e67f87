"""The WebDAV adapter against WsgiDAV with the line broken in every request, body and answer."""

from collections.abc import Iterator, Sequence
from urllib.parse import urlsplit

import pytest

from adapters.dav.adapter import DavAdapter
from adapters.errors import BrokenOff, CannotConnect, MayBeDone, TooSlow, Untrusted, WrongDocument
from demo_site.areas.dav import DavArea
from tests.faults.drills import (
    BEGINS,
    DRILLS,
    ENDS,
    MIDDLE,
    PASSWORD,
    USER,
    Drill,
    Outcome,
    Stand,
    check,
    cut_everywhere,
    places,
    run,
    run_each,
)
from tests.faults.script import At, Channel, Cut, Drip, Garble, Refuse, Stall, Way

CAN = [drill for drill in DRILLS if drill.needs in DavAdapter.can]
BY_NAME = {drill.name: drill for drill in DRILLS}
HEAD_ENDS = b"\r\n\r\n"
ANSWERS = [b"HTTP/1.1 200 OK\r\n", *(b"HTTP/1.1 %d" % code for code in (201, 204, 206, 207, 404, 412))]
"""How answers begin; a multistatus has status lines in it too, which end otherwise."""


@pytest.fixture(scope="module")
def stand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stand]:
    folder = tmp_path_factory.mktemp("dav")
    with DavArea(folder, USER, PASSWORD) as area:
        yield Stand(DavAdapter, "dav", urlsplit(area.url).port or 0, folder)


def answered(clean: Outcome) -> list[At]:
    """The beginning of each answer."""
    return [place for answer in ANSWERS for place in places(clean, answer, Way.DOWN)]


def everywhere(clean: Outcome) -> Sequence[Cut]:
    """In each request's head and after it, in bodies, before each answer, in it and after its head."""
    requests = places(clean, b" HTTP/1.1\r\n", Way.UP)
    heads = places(clean, HEAD_ENDS, Way.UP)
    bodies = [place for way in Way for mark in (BEGINS, MIDDLE, ENDS) for place in places(clean, mark, way)]
    answers = answered(clean)
    answer_heads = places(clean, HEAD_ENDS, Way.DOWN)
    return [
        *(Cut(place, dead=dead) for place in requests for dead in (False, True)),
        *(Cut(place, passed=True, dead=dead) for place in heads for dead in (False, True)),
        *(Cut(place, passed, dead=passed) for place in bodies for passed in (False, True)),
        *(Cut(place, dead=dead) for place in answers for dead in (False, True)),
        *(Cut(place, passed=True, reset=True) for place in answers),
        *(Cut(place, passed=True, dead=dead) for place in answer_heads for dead in (False, True)),
    ]


@pytest.mark.parametrize("drill", CAN, ids=lambda drill: drill.name)
async def test_cut_everywhere(stand: Stand, drill: Drill) -> None:
    done = await cut_everywhere(stand, drill, everywhere)
    assert len(done) >= 6


@pytest.mark.parametrize("name", ["login and list", "replace", "rename"])
async def test_a_stall_at_any_answer_ends_in_time(
    stand: Stand, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.faults.drills.SECONDS", 1.0)
    drill = BY_NAME[name]
    clean = await run(stand, drill)
    stalls = [Stall(place, passed) for place in answered(clean) for passed in (False, True)]
    done = await run_each(stand, drill, stalls, once_more=False, at_once=8)
    for stall, outcome in zip(stalls, done, strict=True):
        assert outcome.proxy.plan.struck == [stall]
        assert isinstance(outcome.error, TooSlow | MayBeDone | None), (
            stall
        )  # None: it was of what comes after
        assert outcome.seconds < 3, stall
        check(drill, outcome)
    assert any(outcome.error for outcome in done)


async def test_a_drip_is_no_fault_and_no_excuse(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    """What arrives byte by byte arrives; what would take minutes ends with the request's time."""
    drill = BY_NAME["login and list"]
    slow = await run(stand, drill, [Drip(10_000)])
    assert slow.error is None
    check(drill, slow)
    monkeypatch.setattr("tests.faults.drills.SECONDS", 0.6)
    too_slow = await run(stand, drill, [Drip(20)], once_more=False)
    assert isinstance(too_slow.error, TooSlow)
    assert too_slow.seconds < 3


async def test_nobody_listens(stand: Stand) -> None:
    outcome = await run(stand, BY_NAME["login and list"], [Refuse(Channel.CONTROL)], once_more=False)
    assert isinstance(outcome.error, CannotConnect)


async def test_tls_that_fails_gives_no_password_away(stand: Stand) -> None:
    """A server that talks no TLS (its answer to a ClientHello is HTTP in the clear)."""
    drill = BY_NAME["login and list"]
    outcome = await run(stand, drill, scheme="davs", once_more=False)
    assert outcome.proxy.sent()[:2] == b"\x16\x03"  # RFC 8446 section 5.1: a handshake record
    assert isinstance(outcome.error, Untrusted | CannotConnect | BrokenOff)
    assert PASSWORD.encode() not in outcome.proxy.sent()


@pytest.mark.parametrize("name", ["read", "replace", "rename"])
async def test_rubbish_instead_of_an_answer(stand: Stand, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the rubbish reads as the head of an answer whose body ends with the connection, time ends it."""
    monkeypatch.setattr("tests.faults.drills.SECONDS", 2.0)
    drill = BY_NAME[name]
    clean = await run(stand, drill)
    faults = [Garble(place, b"\x00\xff rubbish\r\n\r\n") for place in answered(clean)]
    assert faults
    for fault in faults:
        outcome = await run(stand, drill, [fault])
        assert outcome.proxy.plan.struck == [fault]
        check(drill, outcome, WrongDocument)
        assert outcome.again is None
