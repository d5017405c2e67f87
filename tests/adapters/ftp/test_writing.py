"""Writes that fail: the old target intact or the new one whole, never a mixture, and nothing beside it.

RFC 959 section 4.2 for the replies; RNTO is the one command that acts on the target.
"""

import asyncio
import re
from collections.abc import AsyncIterator
from datetime import UTC, datetime

import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NameNotAllowed,
    NotAllowed,
    NotPossible,
    TooLarge,
    TooSlow,
    WrongDocument,
)
from adapters.files import Condition, Kind, Stat, Target, Upload, Was
from adapters.ftp.adapter import FtpAdapter
from adapters.ftp.writing import Aside, check
from tests.adapters.file_contract import endless, upload
from tests.adapters.ftp.doing import (
    NEW,
    OLD,
    SECONDS,
    fails,
    still_well,
    until,
    writing,
)
from tests.adapters.ftp.scripted import LOOPBACK, Fault, Scripted

EARLY, LATE = (datetime(2024, 2, 29, hour, tzinfo=UTC) for hour in (1, 2))


@pytest.mark.parametrize(
    ("fault", "kinds"),
    [
        (Fault("data-cut"), (BrokenOff,)),
        (Fault("data-reset"), (BrokenOff,)),
        (Fault("data-reset", "452 disk full"), (FarBusy, BrokenOff)),
        (Fault("short"), (BrokenOff,)),  # 226, and SIZE says otherwise
        (Fault("short", "452 disk full"), (FarBusy,)),
        (Fault("short", "552 quota"), (TooLarge,)),
        (Fault("say", "550 Permission denied", times=2), (NotAllowed,)),
        (Fault("say", "550 no", times=2), (NotAllowed,)),
        (Fault("say", "553 bad name", times=2), (NameNotAllowed,)),
        (Fault("say", "451 trouble"), (FarBusy,)),
        (Fault("say", "502 read only"), (NotPossible,)),
    ],
    ids=lambda value: f"{value.kind} {value.reply[:3]}" if isinstance(value, Fault) else "",
)
async def test_an_upload_that_fails(
    adapter: FtpAdapter, server: Scripted, fault: Fault, kinds: tuple[type[HeadraceError], ...]
) -> None:
    server.faults["STOR"] = fault
    await fails(writing(adapter, server, SECONDS), *kinds)
    await still_well(adapter, server)


async def test_an_upload_that_stalls(adapter: FtpAdapter, server: Scripted) -> None:
    server.faults["STOR"] = Fault("data-stall")
    await fails(writing(adapter, server, 0.3), TooSlow)
    await asyncio.sleep(0.05)
    await still_well(adapter, server)


@pytest.mark.parametrize("kind", ["cut", "reset", "stall"])
async def test_a_lost_rename_that_was_done_is_seen_to_be_done(
    adapter: FtpAdapter, server: Scripted, kind: str
) -> None:
    server.faults["RNTO"] = Fault(kind, acted=True)
    await writing(adapter, server, 0.8)
    await still_well(adapter, server, NEW)


@pytest.mark.parametrize(("kind", "error"), [("cut", BrokenOff), ("reset", BrokenOff), ("stall", TooSlow)])
async def test_a_lost_rename_that_was_not_done_is_seen_not_to_be(
    adapter: FtpAdapter, server: Scripted, kind: str, error: type[HeadraceError]
) -> None:
    server.faults["RNTO"] = Fault(kind)
    await fails(writing(adapter, server, 0.8), error)
    await still_well(adapter, server)


@pytest.mark.parametrize("acted", [True, False])
async def test_a_lost_rename_where_nobody_can_look(
    adapter: FtpAdapter, server: Scripted, acted: bool
) -> None:
    server.faults["RNTO"] = Fault("cut", acted=acted)
    server.faults["GREETING"] = Fault("cut", times=99, skip=1)
    await fails(writing(adapter, server, SECONDS), MayBeDone)
    assert server.documents[b"/pub/old"] == (NEW if acted else OLD)  # never a mixture


async def test_the_old_one_steps_aside(adapter: FtpAdapter, server: Scripted) -> None:
    server.renames_over = False
    await writing(adapter, server, SECONDS)
    await still_well(adapter, server, NEW)


@pytest.mark.parametrize("fault", ["say", "cut", "stall"])
@pytest.mark.parametrize("skip", [1, 2], ids=["stepping aside", "taking the place"])
@pytest.mark.parametrize("acted", [True, False])
async def test_and_is_never_lost(
    adapter: FtpAdapter, server: Scripted, fault: str, skip: int, acted: bool
) -> None:
    if fault == "say" and acted:
        return  # a refusal of what was done is a lie, not a fault
    server.renames_over = False
    server.faults["RNTO"] = Fault(fault, "550 no", acted, skip=skip)
    try:
        await writing(adapter, server, 0.8)
    except MayBeDone:
        assert (fault, skip) in {("cut", 1), ("stall", 1)}  # a late RNTO may still move the old one
        assert not acted
    except HeadraceError:
        assert not (acted and skip == 2)
    else:
        assert acted
        assert skip == 2
        await still_well(adapter, server, NEW)
        return
    await still_well(adapter, server, OLD)


@pytest.mark.parametrize("kind", ["cut", "say"])
async def test_an_old_one_that_stays_aside_is_no_failure(
    adapter: FtpAdapter, server: Scripted, kind: str
) -> None:
    server.renames_over = False
    server.faults["DELE"] = Fault(kind, "450 busy")
    await writing(adapter, server, SECONDS)
    await still_well(adapter, server, NEW)  # and it is erased on another login


@pytest.mark.parametrize("renames_over", [True, False])
async def test_a_disk_that_takes_short_names_only(
    adapter: FtpAdapter, server: Scripted, renames_over: bool
) -> None:
    server.short_names, server.renames_over = True, renames_over
    await writing(adapter, server, SECONDS)
    assert any(re.fullmatch(rb"STOR HR[0-9A-F]{6}\.PRT", each) for each in server.told)
    server.short_names = False
    await still_well(adapter, server, NEW)


async def test_somebody_else_was_quicker(adapter: FtpAdapter, server: Scripted) -> None:
    async def slow() -> AsyncIterator[bytes]:
        yield b"new"
        server.documents[b"/pub/new"] = b"somebody else's"

    sending = upload(b"")
    sending = type(sending)(slow)
    target = server.target.within(b"new")
    await fails(adapter.write(target, sending, Was.NOTHING, SECONDS), ChangedMeanwhile)
    assert server.documents[b"/pub/new"] == b"somebody else's"
    await still_well(adapter, server)


async def test_a_digest_that_differs(adapter: FtpAdapter, server: Scripted) -> None:
    server.features += ("HASH SHA-256*",)
    server.digest_of = b"other bytes"
    await fails(writing(adapter, server, SECONDS), BrokenOff)
    server.digest_of = None
    await still_well(adapter, server)
    target = server.target.within(b"old")
    written = await adapter.write(target, upload(NEW, size=len(NEW)), Was.ANYTHING, SECONDS)
    assert (written.size, written.checked) == (len(NEW), "sha256")


async def test_a_cancelled_upload_is_swept_up(adapter: FtpAdapter, server: Scripted) -> None:
    began = asyncio.Event()
    target = server.target.within(b"old")
    task = asyncio.create_task(adapter.write(target, endless(began), Was.ANYTHING, SECONDS))
    await began.wait()
    await asyncio.sleep(0.02)
    assert server.parts() != []
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    await adapter.aclose()  # waits for it a short time
    assert server.parts() == []
    assert server.documents[b"/pub/old"] == OLD


@pytest.mark.parametrize("length", [1, 200, 255])
def test_names_beside_a_target(length: int) -> None:
    name = b"n" * length
    first, second = Aside.of(name), Aside.of(name)
    assert len({first.new, first.old, second.new, second.old, name}) == 4 + 1
    assert max(len(first.new), len(first.old)) <= 255  # what a name may be on most disks


@pytest.mark.parametrize(
    ("condition", "found", "error"),
    [
        (Was.ANYTHING, None, None),
        (Was.ANYTHING, Stat(Kind.FILE), None),
        (Was.ANYTHING, Stat(Kind.FOLDER), WrongDocument),
        (Was.NOTHING, None, None),
        (Was.NOTHING, Stat(Kind.FILE), ChangedMeanwhile),
        (Was.NOTHING, Stat(Kind.FOLDER), WrongDocument),
        (Stat(Kind.FILE, 5), None, ChangedMeanwhile),
        (Stat(Kind.FILE, 5), Stat(Kind.FILE, 5), None),
        (Stat(Kind.FILE, 5), Stat(Kind.FILE, 6), ChangedMeanwhile),
        (Stat(Kind.FILE, 5), Stat(Kind.FILE, None), None),  # as far as the protocol can tell
        (Stat(Kind.FILE, 5), Stat(Kind.LINK, 5), ChangedMeanwhile),
        (Stat(Kind.FILE, 5, EARLY), Stat(Kind.FILE, 5, LATE), ChangedMeanwhile),
        (Stat(Kind.FILE, 5, EARLY), Stat(Kind.FILE, 5, EARLY), None),
    ],
)
def test_conditions(condition: Condition, found: Stat | None, error: type[HeadraceError] | None) -> None:
    if error is None:
        check(condition, found)
        return
    with pytest.raises(error):
        check(condition, found)


@pytest.mark.parametrize(("fault", "kinds"), [("cut", {BrokenOff}), ("say", {BrokenOff, NotPossible})])
async def test_an_old_one_aside_whose_login_dies_is_brought_back_on_another(
    adapter: FtpAdapter, server: Scripted, fault: str, kinds: set[type[HeadraceError]]
) -> None:
    """The second RNFR of the new one: the old one has stepped aside by then."""
    server.renames_over = False
    server.faults["RNFR"] = Fault(fault, "502 no", skip=2)
    await fails(writing(adapter, server, SECONDS), *kinds)
    await still_well(adapter, server)


async def test_what_cannot_be_told_is_in_doubt(adapter: FtpAdapter, server: Scripted) -> None:
    """RNTO unanswered and not done, and the new one, still beside it, cannot be erased."""
    server.faults["RNTO"] = Fault("cut")
    server.faults["DELE"] = Fault("say", "550 Permission denied")
    await fails(writing(adapter, server, SECONDS), MayBeDone)
    assert server.documents[b"/pub/old"] == OLD


@pytest.mark.parametrize(
    ("reply", "error"), [("550 Permission denied", NotAllowed), ("553 bad name", NameNotAllowed)]
)
async def test_an_odd_name_whose_try_is_refused(
    adapter: FtpAdapter, server: Scripted, reply: str, error: type[HeadraceError]
) -> None:
    server.faults["MKD"] = Fault("say", reply)
    odd = server.target.within(b"odd ")
    await fails(adapter.write(odd, upload(NEW), Was.ANYTHING, SECONDS), error)
    assert "STOR" not in server.words()
    await still_well(adapter, server)


async def test_a_digest_that_is_refused_leaves_the_size(adapter: FtpAdapter, server: Scripted) -> None:
    server.features += ("HASH SHA-256*",)
    server.faults["HASH"] = Fault("say", "550 not now")
    written = await adapter.write(server.target.within(b"old"), upload(NEW), Was.ANYTHING, SECONDS)
    assert (written.size, written.checked) == (len(NEW), "size")
    await still_well(adapter, server, NEW)


async def test_a_server_that_hangs_up_half_way_is_heard(adapter: FtpAdapter, server: Scripted) -> None:
    """It ends its side of the data connection and says why, while we still send."""
    server.faults["STOR"] = Fault("short-half", "552 quota")

    async def slowly() -> AsyncIterator[bytes]:
        for _ in range(50):
            yield b"x"
            await asyncio.sleep(0.02)
        pytest.fail("sent all of it to a server that had hung up")

    await fails(adapter.write(server.target.within(b"old"), Upload(slowly), Was.ANYTHING, SECONDS), TooLarge)
    await still_well(adapter, server)


async def test_the_root_and_another_server_are_no_new_names(adapter: FtpAdapter, server: Scripted) -> None:
    old = server.target.within(b"old")
    url = f"ftp://{LOOPBACK}:1/pub/"
    other = Target(url, url, server.target.credentials, reach=server.target.reach)
    await fails(adapter.rename(old, other.within(b"new"), SECONDS), NotPossible)
    await fails(adapter.rename(old, server.target, SECONDS), NotAllowed)
    assert server.told == []


async def test_closing_does_not_wait_for_ever_for_what_is_swept_up(
    adapter: FtpAdapter, server: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.faults["RNFR"], server.faults["DELE"] = Fault("stall"), Fault("stall")
    task = asyncio.create_task(writing(adapter, server, SECONDS))
    await until(lambda: "RNFR" in server.words())
    task.cancel()
    await until(lambda: "DELE" in server.words())
    monkeypatch.setattr(limits, "LOGIN_CLEAN_SECONDS", 0.05)
    async with asyncio.timeout(limits.STALL_SECONDS / 4):
        await adapter.aclose()
        await until(lambda: not server.open)
    assert task.cancelled()
    assert server.documents[b"/pub/old"] == OLD
