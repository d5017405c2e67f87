"""Faults on purpose in every phase of a change: afterwards the old document is there whole or the new one is,
the error says which, and no temporary name is left where the server can be reached.

The codes are CONTRACT section 2's: 558 only where it stays unclear what became of the target.
"""

import asyncio
import gzip
from collections.abc import AsyncIterator

import pytest

from adapters import limits
from adapters.dav.adapter import DavAdapter
from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    TooLarge,
    TooSlow,
    WrongDocument,
)
from adapters.files import Condition, Target, Upload, Was, Written
from tests.adapters.dav.faulty import FOLDER, Fault, Faulty, faulty
from tests.adapters.file_contract import broken, upload

OLD, NEW = b"as it was", b"new" * 50_000
SECONDS = 20.0
SHORT = 1.6  # for servers that stall; a quarter of it is for tidying up

Far = tuple[Faulty, DavAdapter]


@pytest.fixture
async def far(monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Far]:
    monkeypatch.setattr("adapters.dav.replacing._LATE_SECONDS", 0.02)
    async with faulty() as (server, adapter):
        server.put(b"/old", OLD)
        yield server, adapter


async def write(
    far: Far, name: str = "old", condition: Condition = Was.ANYTHING, seconds: float = SECONDS
) -> Written:
    server, adapter = far
    return await adapter.write(server.target(name), upload(NEW, size=len(NEW)), condition, seconds)


async def append(far: Far, name: str = "old", seconds: float = SECONDS) -> Written:
    server, adapter = far
    return await adapter.append(server.target(name), upload(b"!", size=1), Was.ANYTHING, seconds)


async def copy(far: Far, seconds: float = SECONDS) -> Written:
    server, adapter = far
    server.put(b"/source", NEW)
    return await adapter.copy(server.target("source"), server.target("old"), seconds)


# The upload, under its temporary name


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (Fault(), BrokenOff),
        (Fault(acts=True), BrokenOff),
        (Fault(end="reset"), BrokenOff),
        (Fault(keeps=0), BrokenOff),
        (Fault(keeps=1), BrokenOff),
        (Fault(keeps=70_000, acts=True), BrokenOff),
        (Fault(keeps=70_000, end="reset"), BrokenOff),
        (Fault(status="500 x"), FarBusy),
        (Fault(status="500 x", acts=True), FarBusy),
        (Fault(status="503 x"), FarBusy),
        (Fault(status="507 x"), FarBusy),
        (Fault(status="423 x"), FarBusy),
        (Fault(status="401 x"), CredentialsRefused),
        (Fault(status="403 x"), NotAllowed),
        (Fault(status="413 x", keeps=1_000), TooLarge),
        (Fault(status="207 x", body=b"<"), FarBusy),
    ],
    ids=str,
)
async def test_an_upload_that_fails(far: Far, fault: Fault, kind: type[HeadraceError]) -> None:
    server, _ = far
    for name in ("old", "new"):
        server.faults["PUT"] = [fault]
        with pytest.raises(HeadraceError) as caught:
            await write(far, name)
        assert type(caught.value) is kind
        assert server.documents() == {b"/old": OLD}


@pytest.mark.parametrize("keeps", [None, 0, 70_000])
async def test_an_upload_that_stalls(far: Far, keeps: int | None) -> None:
    server, _ = far
    server.faults["PUT"] = [Fault(end="stall", keeps=keeps, acts=keeps is None)]
    with pytest.raises(TooSlow):
        await write(far, seconds=SHORT)
    assert server.documents() == {b"/old": OLD}


async def test_a_server_that_keeps_only_a_part(far: Far) -> None:
    server, _ = far
    server.faults["PUT"] = [Fault(keeps=10, acts=True, status="201 Created")]
    with pytest.raises(HeadraceError) as caught:
        await write(far)
    assert caught.value.code in {426, 551}  # it answered before it had everything
    assert server.documents() == {b"/old": OLD}


async def test_a_size_that_does_not_agree(far: Far) -> None:
    """The server says that all is well, and has another document."""
    server, _ = far
    server.faults["PUT"] = [Fault(meanwhile=b"something else", status="201 Created")]
    with pytest.raises(BrokenOff):
        await write(far)
    assert server.documents() == {b"/old": OLD}


async def test_no_folder(far: Far) -> None:
    server, _ = far
    for status in ("404 x", "409 x", "500 x", "403 x"):  # what servers say of it
        server.faults["PUT"] = [Fault(status=status)]
        with pytest.raises(NotThere):
            await write(far, "missing/new")
    assert server.documents() == {b"/old": OLD}


async def test_a_server_that_lets_nobody_look(far: Far) -> None:
    """The folder is there, so it is the name that is refused, and nothing is sent."""
    server, _ = far
    server.faults["PROPFIND"] = [Fault(status="403 x")]
    with pytest.raises(NotAllowed):
        await write(far, "new")
    assert [method for method in server.methods() if method != "PROPFIND"] == []


# The move


@pytest.mark.parametrize("fault", [Fault(acts=True), Fault(acts=True, end="reset")], ids=str)
@pytest.mark.parametrize("name", ["old", "new"])
async def test_a_move_that_was_made_and_not_told(far: Far, fault: Fault, name: str) -> None:
    server, _ = far
    server.faults["MOVE"] = [fault]
    assert (await write(far, name)).checked == "size"
    assert server.documents() == {b"/old": OLD} | {b"/" + name.encode(): NEW}


@pytest.mark.parametrize("status", ["500 x", "502 x", "408 x", "207 x"])
async def test_a_move_that_was_made_and_called_a_failure(far: Far, status: str) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(acts=True, status=status)]
    await write(far)
    assert server.documents() == {b"/old": NEW}


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (Fault(), BrokenOff),
        (Fault(end="reset"), BrokenOff),
        (Fault(status="500 x"), FarBusy),
        (Fault(status="502 x"), FarBusy),
        (Fault(status="503 x"), FarBusy),
        (Fault(status="423 x"), FarBusy),
        (Fault(status="404 x"), NotThere),
        (Fault(status="409 x"), ChangedMeanwhile),
        (Fault(status="401 x"), CredentialsRefused),
        (
            Fault(
                status="207 x",
                body=b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>/old</D:href>'
                b"<D:status>HTTP/1.1 423 Locked</D:status></D:response></D:multistatus>",
            ),
            FarBusy,
        ),
    ],
    ids=str,
)
@pytest.mark.parametrize("name", ["old", "new"])
async def test_a_move_that_was_not_made(far: Far, fault: Fault, kind: type[HeadraceError], name: str) -> None:
    server, _ = far
    server.faults["MOVE"] = [fault]
    with pytest.raises(HeadraceError) as caught:
        await write(far, name)
    assert type(caught.value) is kind
    assert server.documents() == {b"/old": OLD}


async def test_a_move_that_stalls(far: Far) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(end="stall")]
    with pytest.raises(TooSlow):
        await write(far, seconds=SHORT)
    assert server.documents() == {b"/old": OLD}
    server.faults["MOVE"] = [Fault(end="stall", acts=True)]
    await write(far, seconds=SHORT)
    assert server.documents() == {b"/old": NEW}


@pytest.mark.parametrize(
    "fault", [Fault(completes=True, well=True), Fault(completes=True, status="500 x")], ids=["404", "500"]
)
@pytest.mark.parametrize("name", ["old", "new"])
async def test_a_move_that_comes_late(far: Far, name: str, fault: Fault) -> None:
    """It is made between our look at the temporary document and our taking that away, whatever the server
    says of that.
    """
    server, _ = far
    server.faults["MOVE"] = [Fault(end="stall"), fault]
    await write(far, name, seconds=4 * SHORT)  # a quarter of it is for looking what became of it
    assert server.documents() == {b"/old": OLD} | {b"/" + name.encode(): NEW}


@pytest.mark.parametrize("end", ["cut", "reset", "stall"])
async def test_a_move_that_gets_half_way_is_brought_to_its_end(far: Far, end: str) -> None:
    """Seen with a real server: it removes the target before it moves. The temporary document is all there is
    then, and removing it, to be certain that the move cannot come any more, would lose both.
    """
    server, _ = far
    server.faults["MOVE"] = [Fault(end=end, half=True)]
    await write(far, seconds=SHORT)
    assert server.documents() == {b"/old": NEW}


async def test_a_client_that_is_gone_when_a_move_got_half_way(far: Far) -> None:
    server, adapter = far
    server.faults["MOVE"] = [Fault(end="stall", half=True)]
    writing = asyncio.create_task(write(far))
    await server.began("MOVE")
    writing.cancel()
    with pytest.raises(asyncio.CancelledError):
        await writing
    await adapter.aclose()
    assert server.documents() == {b"/old": NEW}


async def test_a_temporary_document_that_cannot_be_taken_away(far: Far) -> None:
    """The move may still come."""
    server, _ = far
    server.faults["MOVE"] = [Fault(end="stall"), Fault(status="423 x")]
    with pytest.raises(MayBeDone):
        await write(far, seconds=SHORT)
    assert server.things[b"/old"] == OLD


@pytest.mark.parametrize("acts", [False, True])
@pytest.mark.parametrize("etags", [False, True])
async def test_a_move_whose_end_nobody_can_tell(far: Far, acts: bool, etags: bool) -> None:
    """The server is gone from then on: 558, and the document is the old or the new one."""
    server, _ = far
    server.etags = etags
    server.faults["MOVE"] = [Fault(acts=acts)]
    server.faults["PROPFIND"] = [None, None, None, *[Fault()] * 20]
    server.faults["DELETE"] = [Fault()] * 20
    with pytest.raises(MayBeDone):
        await write(far)
    assert server.things[b"/old"] == (NEW if acts else OLD)


async def test_a_move_after_which_there_is_something_else(far: Far) -> None:
    server, _ = far
    for fault in (Fault(meanwhile=b"else"), Fault(meanwhile=b"else", acts=True)):
        server.faults["MOVE"] = [fault]
        with pytest.raises(MayBeDone):
            await write(far)
        assert server.documents() == {b"/old": b"else"}


async def test_a_temporary_document_that_vanished(far: Far) -> None:
    """The same size as the new one, but certainly the old one: nobody knows."""
    server, _ = far
    server.put(b"/old", b"o" * len(NEW))
    server.faults["MOVE"] = [Fault()]
    server.faults["PROPFIND"] = [None, None, None, Fault(status="404 x")]
    with pytest.raises(MayBeDone):
        await write(far)
    assert server.things[b"/old"] == b"o" * len(NEW)


# Conditions


async def test_changed_while_it_was_sent(far: Far) -> None:
    server, adapter = far
    seen = await adapter.stat(server.target("old"), SECONDS)

    async def chunks() -> AsyncIterator[bytes]:
        yield b"x"
        server.put(b"/old", b"by somebody else")

    with pytest.raises(ChangedMeanwhile):
        await adapter.write(server.target("old"), Upload(chunks, 1), seen, SECONDS)
    assert server.documents() == {b"/old": b"by somebody else"}
    assert "MOVE" not in server.methods()


@pytest.mark.parametrize("name", ["old", "new"])
async def test_changed_just_before_the_move(far: Far, name: str) -> None:
    """The server is told what is to be there (RFC 4918 sections 10.4, 10.6), and notices."""
    server, adapter = far
    condition = await adapter.stat(server.target("old"), SECONDS) if name == "old" else Was.NOTHING
    server.faults["MOVE"] = [Fault(meanwhile=b"by somebody else", well=True)]
    with pytest.raises(ChangedMeanwhile):
        await write(far, name, condition)
    assert server.documents() == {b"/old": OLD} | {b"/" + name.encode(): b"by somebody else"}


@pytest.mark.parametrize("name", ["old", "new"])
async def test_changed_just_before_a_move_that_takes_anything(far: Far, name: str) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(meanwhile=b"by somebody else", well=True)]
    await write(far, name)
    assert server.documents() == {b"/old": OLD} | {b"/" + name.encode(): NEW}


async def test_a_target_that_never_keeps_still(far: Far) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(meanwhile=b"%d" % number, status="412 x") for number in range(9)]
    with pytest.raises(ChangedMeanwhile):
        await write(far)
    assert server.documents() == {b"/old": b"2"}


async def test_a_folder_that_came_meanwhile(far: Far) -> None:
    """A MOVE that may replace would take the folder with all that is in it."""
    server, _ = far
    server.faults["PUT"] = [Fault(well=True)]
    server.faults["PROPFIND"] = [
        None,
        None,
        Fault(
            status="207 x",
            body=b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>/old/</D:href><D:propstat><D:prop>'
            b"<D:resourcetype><D:collection/></D:resourcetype></D:prop></D:propstat></D:response>"
            b"</D:multistatus>",
        ),
    ]
    with pytest.raises(WrongDocument):
        await write(far)
    assert "MOVE" not in server.methods()
    assert server.documents() == {b"/old": OLD}


async def test_conditions_are_told_to_the_server(far: Far) -> None:
    server, _ = far
    await write(far)
    move = server.heads[server.methods().index("MOVE")]
    url = server.target("old").url.replace("dav:", "http:")
    assert (move["destination"], move["overwrite"]) == (url, "T")
    assert move["if"] == f'<{url}> (["1"])'
    await write(far, "new")
    move = server.heads[-1]
    assert (move["overwrite"], "if" in move) == ("F", False)


# Servers without MOVE


@pytest.mark.parametrize("status", ["405 x", "501 x", "403 x"])
@pytest.mark.parametrize("name", ["old", "new"])
async def test_a_server_that_cannot_move(far: Far, status: str, name: str) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(status=status)]
    assert (await write(far, name)).size == len(NEW)
    assert server.documents() == {b"/old": OLD} | {b"/" + name.encode(): NEW}
    put = [head for head, method in zip(server.heads, server.methods(), strict=True) if method == "PUT"][-1]
    assert (put.get("if-match"), put.get("if-none-match")) == (
        ('"1"', None) if name == "old" else (None, "*")
    )


async def test_a_put_that_is_refused(far: Far) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(status="405 x")]
    server.faults["PUT"] = [None, Fault(meanwhile=b"by somebody else", well=True)]
    with pytest.raises(ChangedMeanwhile):
        await write(far)
    assert server.documents() == {b"/old": b"by somebody else"}


@pytest.mark.parametrize(
    "fault",
    [
        Fault(),
        Fault(acts=True),
        Fault(keeps=10, acts=True),
        Fault(status="500 x", acts=True),
        Fault(status="201 x", meanwhile=b"other"),
    ],
    ids=str,
)
async def test_a_put_that_fails_may_have_changed_the_target(far: Far, fault: Fault) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(status="405 x")]
    server.faults["PUT"] = [None, fault]
    with pytest.raises(MayBeDone):
        await write(far)
    assert set(server.documents()) == {b"/old"}


async def test_a_put_after_which_nobody_can_look(far: Far) -> None:
    server, _ = far
    server.faults["MOVE"] = [Fault(status="405 x")]
    server.faults["PROPFIND"] = [None, None, None, *[Fault()] * 20]
    with pytest.raises(MayBeDone) as caught:
        await write(far)
    assert server.documents() == {b"/old": NEW}
    assert caught.value.far.startswith("dav://")  # for WHY and the log


async def test_a_put_after_which_nothing_is_there(far: Far) -> None:
    """The server took it, or somebody else took it away again: not a document that is kept."""
    server, _ = far
    server.faults["MOVE"] = [Fault(status="405 x")]
    server.faults["PUT"] = [None, Fault(status="201 x")]
    with pytest.raises(MayBeDone):
        await write(far, "new")
    assert server.documents() == {b"/old": OLD}


async def test_a_put_whose_source_breaks_off(far: Far) -> None:
    """The source is the temporary document, at the same server."""
    server, _ = far
    server.faults["MOVE"] = [Fault(status="405 x")]
    server.faults["GET"] = [Fault(status="500 x")]
    with pytest.raises(MayBeDone):
        await write(far)
    assert server.documents() == {b"/old": OLD}


# Appending and copying


async def test_appending_keeps_to_what_was_seen(far: Far) -> None:
    server, _ = far
    assert (await append(far)).size == 1
    assert server.documents() == {b"/old": OLD + b"!"}
    server.faults["GET"] = [Fault(meanwhile=b"by somebody else", well=True)]
    with pytest.raises(ChangedMeanwhile):
        await append(far)
    assert server.documents() == {b"/old": b"by somebody else"}


async def test_appending_on_condition(far: Far) -> None:
    server, adapter = far
    seen = await adapter.stat(server.target("old"), SECONDS)
    for name, condition in (("old", Was.NOTHING), ("new", seen)):
        with pytest.raises(ChangedMeanwhile):
            await adapter.append(server.target(name), upload(b"!", size=1), condition, SECONDS)
    assert "PUT" not in server.methods()
    await adapter.append(server.target("old"), upload(b"!", size=1), seen, SECONDS)
    assert server.documents() == {b"/old": OLD + b"!"}


async def test_appending_where_somebody_else_began(far: Far) -> None:
    server, _ = far
    server.faults["PUT"] = [None]
    server.faults["MOVE"] = [Fault(meanwhile=b"by somebody else", well=True)]
    with pytest.raises(ChangedMeanwhile):
        await append(far, "new")
    assert server.documents() == {b"/old": OLD, b"/new": b"by somebody else"}


@pytest.mark.parametrize("fault", [Fault(), Fault(end="reset"), Fault(status="500 x")], ids=str)
async def test_appending_to_what_cannot_be_read(far: Far, fault: Fault) -> None:
    server, _ = far
    server.faults["GET"] = [fault, fault]  # a kept connection that ended is worth another try
    with pytest.raises((BrokenOff, FarBusy)):
        await append(far)
    assert server.documents() == {b"/old": OLD}


async def test_appending_to_what_is_kept_compressed(far: Far) -> None:
    """Its bytes at the server are not those that came, so that there is nothing to add to."""
    server, _ = far
    server.faults["GET"] = [Fault(status="200 x", body=gzip.compress(OLD), coding="gzip")]
    with pytest.raises(NotPossible):
        await append(far)
    assert "PUT" not in server.methods()
    assert server.documents() == {b"/old": OLD}


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (Fault(), BrokenOff),
        (Fault(acts=True), BrokenOff),
        (Fault(status="500 x", acts=True), FarBusy),
        (Fault(status="207 x", body=b""), FarBusy),
        (Fault(status="423 x"), FarBusy),
    ],
    ids=str,
)
async def test_a_copy_that_fails(far: Far, fault: Fault, kind: type[HeadraceError]) -> None:
    server, _ = far
    server.faults["COPY"] = [fault]
    with pytest.raises(HeadraceError) as caught:
        await copy(far)
    assert type(caught.value) is kind
    assert server.documents() == {b"/old": OLD, b"/source": NEW}
    assert (await copy(far)).size == len(NEW)
    assert server.documents() == {b"/old": NEW, b"/source": NEW}


async def test_a_copy_that_is_not_whole(far: Far) -> None:
    server, _ = far
    server.faults["COPY"] = [Fault(status="201 x", meanwhile=b"a part")]
    with pytest.raises(BrokenOff):
        await copy(far)
    assert server.documents() == {b"/old": OLD, b"/source": NEW}


# Giving up


async def test_a_client_that_is_gone(far: Far) -> None:
    """Cancelled in the middle of each request: the rest is tidied up in the background."""
    server, adapter = far
    for method in ("PUT", "MOVE"):
        server.faults[method] = [Fault(end="stall")]
        writing = asyncio.create_task(write(far))
        await server.began(method)
        writing.cancel()
        with pytest.raises(asyncio.CancelledError):
            await writing
        server.requests.clear()
    await adapter.aclose()
    assert server.documents() == {b"/old": OLD}


async def test_a_source_that_breaks_off(far: Far) -> None:
    server, adapter = far
    for size in (None, 200_000):
        with pytest.raises(BrokenOff, match="The source broke off"):
            await adapter.write(server.target("old"), broken(NEW, size), Was.ANYTHING, SECONDS)
        assert server.documents() == {b"/old": OLD}


async def test_a_server_that_is_gone_while_tidying(far: Far, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "TIDY_SECONDS", 0.3)
    server, _ = far
    server.faults["PUT"] = [Fault()]
    server.faults["DELETE"] = [Fault(end="stall")] * 5
    began = asyncio.get_running_loop().time()
    with pytest.raises(BrokenOff):
        await write(far, seconds=SHORT)
    assert asyncio.get_running_loop().time() - began < 2 * SHORT
    assert server.things[b"/old"] == OLD


async def test_a_folder_is_left_alone(far: Far) -> None:
    server, adapter = far
    server.things[b"/folder"] = FOLDER
    target: Target = server.target("folder")
    for doing in (
        write(far, "folder"),
        append(far, "folder"),
        adapter.copy(server.target("old"), target, 5.0),
    ):
        with pytest.raises(WrongDocument):
            await doing
    assert server.documents() == {b"/old": OLD, b"/folder": FOLDER}


async def test_what_changes_while_it_is_kept_for_an_append(far: Far) -> None:
    server, _ = far
    for meanwhile in (b"short", b"longer than it was"):
        server.put(b"/old", OLD)
        server.faults["GET"] = [Fault(meanwhile=meanwhile, well=True)]
        with pytest.raises(ChangedMeanwhile):
            await append(far)
        assert server.documents() == {b"/old": meanwhile}
