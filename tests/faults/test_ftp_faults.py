"""The FTP adapter against pyftpdlib with the line broken at every command, reply and phase of a transfer."""

import socket
import sys
from collections.abc import Iterator, Sequence
from urllib.parse import urlsplit

import pytest

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    HeadraceError,
    MayBeDone,
    NotPossible,
    TooSlow,
    Untrusted,
)
from adapters.ftp.adapter import FtpAdapter
from demo_site.areas.ftp import FtpArea
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
from tests.faults.script import At, Channel, Cut, Drip, Fault, Garble, Misdirect, Refuse, Replace, Stall, Way

CAN = [drill for drill in DRILLS if drill.needs in FtpAdapter.can]
BY_NAME = {drill.name: drill for drill in DRILLS}


@pytest.fixture(scope="module")
def stand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stand]:
    folder = tmp_path_factory.mktemp("ftp")
    with FtpArea(folder, USER, PASSWORD) as area:
        yield Stand(FtpAdapter, "ftp", urlsplit(area.url).port or 0, folder)


def commands(clean: Outcome) -> Sequence[Cut]:
    """Before and after each command and each reply; every other time the server is gone then."""
    ups = places(clean, b"\r\n", Way.UP)
    downs = places(clean, b"\r\n", Way.DOWN)
    return [
        *(Cut(place, dead=place.nth % 2 == 0) for place in ups),
        *(Cut(place, passed=True, dead=place.nth % 2 == 1) for place in ups),
        *(Cut(place, dead=place.nth % 2 == 0) for place in downs),
        *(Cut(place, passed=True, dead=place.nth % 2 == 1, reset=True) for place in downs),
    ]


def transfers(clean: Outcome) -> Sequence[Cut]:
    """At the beginning, in the middle and at the end of a data connection, in good order and by a reset."""
    found = [
        place
        for way in Way
        for mark in (BEGINS, MIDDLE, ENDS)
        for place in places(clean, mark, way, Channel.DATA)
    ]
    return [
        Cut(place, passed, dead, reset)
        for place in found
        for passed in (False, True)
        for dead, reset in ((False, False), (True, False), (False, True))
    ]


@pytest.mark.parametrize("drill", CAN, ids=lambda drill: drill.name)
async def test_cut_at_every_command(stand: Stand, drill: Drill) -> None:
    done = await cut_everywhere(stand, drill, commands)
    assert len(done) >= 4


@pytest.mark.parametrize("name", ["read", "replace", "create", "append"])
async def test_cut_in_every_phase_of_a_transfer(stand: Stand, name: str) -> None:
    done = await cut_everywhere(stand, BY_NAME[name], transfers)
    assert len(done) >= 18


@pytest.mark.parametrize("name", ["login and list", "replace", "rename"])
async def test_a_stall_at_any_reply_ends_in_time(
    stand: Stand, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.faults.drills.SECONDS", 1.0)
    drill = BY_NAME[name]
    clean = await run(stand, drill)
    stalls = [Stall(place) for place in places(clean, b"\r\n", Way.DOWN)]
    done = await run_each(stand, drill, stalls, once_more=False, at_once=12)
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
    slow = await run(stand, drill, [Drip(4000)])
    assert slow.error is None
    check(drill, slow)
    monkeypatch.setattr("tests.faults.drills.SECONDS", 0.6)
    too_slow = await run(stand, drill, [Drip(20)], once_more=False)
    assert isinstance(too_slow.error, TooSlow)
    assert too_slow.seconds < 3


_dialled: list[object] = []
_hooked: list[bool] = []


def _dials() -> list[object]:
    """Every address that anything in this process dials from now on: CPython's audit event socket.connect."""

    def hook(event: str, arguments: tuple[object, ...]) -> None:
        if event == "socket.connect":
            _dialled.append(arguments[1])

    if not _hooked:
        sys.addaudithook(hook)  # there is no way to take it away again
        _hooked.append(True)
    _dialled.clear()
    return _dialled


@pytest.mark.parametrize("name", ["read", "replace", "login and list"])
async def test_the_address_in_a_pasv_reply_is_never_dialled(stand: Stand, name: str) -> None:
    """RFC 959 lets it name any host, RFC 2577 section 3 warns of it; 192.0.2.0/24 is of RFC 5737."""
    dialled = _dials()
    drill = BY_NAME[name]
    outcome = await run(stand, drill, [Replace(At(b"EPSV"), b"XPSV"), Misdirect("192.0.2.1")])
    assert b"PASV\r\n" in outcome.proxy.sent()
    assert outcome.error is None
    check(drill, outcome)
    assert dialled
    assert not [address for address in dialled if "192.0.2" in str(address)]


def test_the_watch_on_dialling_would_see_it() -> None:
    dialled = _dials()
    with socket.socket() as attempt, pytest.raises(OSError):
        attempt.settimeout(0.2)
        attempt.connect(("127.0.0.1", 1))
    assert ("127.0.0.1", 1) in dialled


async def test_nobody_listens(stand: Stand) -> None:
    outcome = await run(stand, BY_NAME["login and list"], [Refuse(Channel.CONTROL)], once_more=False)
    assert isinstance(outcome.error, CannotConnect)


@pytest.mark.parametrize("name", ["read", "replace", "append", "create"])
async def test_no_data_connection_can_be_made(stand: Stand, name: str) -> None:
    drill = BY_NAME[name]
    home_run = await _refused(stand, drill)
    check(drill, home_run)
    assert home_run.error is not None


async def _refused(stand: Stand, drill: Drill) -> Outcome:
    """A run without a listing before it, which would need a data connection too."""
    cold = Drill(drill.name, drill.act, drill.before, drill.after, drill.needs, drill.result, warm=False)
    return await run(stand, cold, [Refuse(Channel.DATA)], once_more=False)


_PRETENDS = Replace(At(b"500 ", Way.DOWN), b"234 ")


@pytest.mark.parametrize(
    ("faults", "expected"),
    [
        ([], (Untrusted, CannotConnect, NotPossible)),
        ([_PRETENDS], (TooSlow,)),
        (
            [_PRETENDS, Garble(At(b"not understood.\r\n", Way.DOWN), b"\x00\xff rubbish")],
            (Untrusted, CannotConnect, BrokenOff, TooSlow),  # the last where it comes before TLS begins
        ),
        ([_PRETENDS, Cut(At(b"not understood.\r\n", Way.DOWN), passed=True)], (CannotConnect, BrokenOff)),
    ],
    ids=["refused", "silent", "rubbish", "cut"],
)
async def test_tls_that_fails_gives_no_password_away(
    stand: Stand,
    faults: list[Fault],
    expected: tuple[type[HeadraceError], ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """RFC 4217 section 4: the server has no AUTH TLS, or says 234 and then talks no TLS."""
    monkeypatch.setattr("tests.faults.drills.SECONDS", 0.7)
    drill = BY_NAME["login and list"]
    outcome = await run(stand, drill, faults, scheme="ftps", once_more=False)
    assert b"AUTH TLS\r\n" in outcome.proxy.sent()
    assert isinstance(outcome.error, expected)
    assert PASSWORD.encode() not in outcome.proxy.sent()
    assert b"USER" not in outcome.proxy.sent()


@pytest.mark.parametrize("mark", [b"type=", b"; not"])
async def test_a_listing_that_ends_within_a_line_is_told_as_partial(stand: Stand, mark: bytes) -> None:
    """RFC 959 section 3.4.1: data ends where its connection does, cut or not, so a cut between two entries
    cannot be seen; but each entry ends in CR LF (RFC 3659 section 7.2), so one within an entry can.
    """
    drill = BY_NAME["login and list"]
    outcome = await run(stand, drill, [Cut(At(mark, Way.DOWN, Channel.DATA), passed=True)])
    if outcome.error is None:
        assert isinstance(outcome.result, tuple)
        names, partial = outcome.result
        assert partial
        assert {name.decode() for name in names} < set(drill.before)
    else:
        check(drill, outcome)
