"""What the adapter itself decides: folders, erasing, renaming, and doubts about them. Faults are those of a
server in memory; RFC 4918 sections 9.3 (MKCOL), 9.6 (DELETE), 9.9 (MOVE).
"""

from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace

import pytest

from adapters.dav.adapter import DavAdapter
from adapters.errors import (
    ChangedMeanwhile,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    WrongDocument,
)
from adapters.files import Ability, Kind, Listing, Target, Was
from adapters.port import CredentialKind, Credentials
from adapters.registry import lookup
from tests.adapters.dav.faulty import FOLDER, Fault, Faulty, faulty
from tests.adapters.file_contract import upload
from tests.adapters.http.servers import LOOPBACK, raw_server, reply

SECONDS = 20.0
SHORT = 0.5
UNREACHABLE = [Fault()] * 30

DOCUMENT = (
    b"<D:response><D:href>%b</D:href><D:propstat><D:prop><D:resourcetype/></D:prop></D:propstat></D:response>"
)

Far = tuple[Faulty, DavAdapter]


@pytest.fixture
async def far() -> AsyncIterator[Far]:
    async with faulty() as (server, adapter):
        server.put(b"/old", b"as it was")
        server.things[b"/folder"] = FOLDER
        server.things[b"/full"] = FOLDER
        server.put(b"/full/inner", b"x")
        yield server, adapter


def test_the_registry_has_it() -> None:
    assert lookup("dav") is lookup("DAVS") is DavAdapter


def test_everything_can_be_done() -> None:
    every = Ability.NONE
    for each in Ability:
        every |= each
    assert DavAdapter.can == every


# Listing and reading


@pytest.mark.parametrize(
    ("refusal", "taken", "kind", "asked"),
    [
        ("401 x", True, CredentialsRefused, 1),  # and not tried again: some servers count
        ("403 x", False, CredentialsRefused, 2),
        ("403 x", True, NotAllowed, 2),  # it was taken for the look
        ("404 x", True, NotThere, 2),
        ("405 x", True, NotPossible, 2),
    ],
)
async def test_a_refused_read_is_looked_into(
    refusal: str, taken: bool, kind: type[HeadraceError], asked: int
) -> None:
    """Whether that was a folder; here it is a document."""
    body = (
        b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>/a</D:href><D:propstat><D:prop>'
        b"<D:resourcetype/></D:prop></D:propstat></D:response></D:multistatus>"
    )
    adapter = DavAdapter()
    own = Credentials(CredentialKind.BASIC, "reader", "secret")
    look = reply(body, "207 x") if taken else reply(b"", "403 x")
    async with raw_server(reply(b"", refusal), look) as server:
        root = f"dav://{LOOPBACK}:{server.port}/"
        with pytest.raises(kind) as caught:
            async with adapter.read(Target(root + "a", root, own, reach=server.reach), 0, None, SECONDS):
                pass
    await adapter.aclose()
    assert [each.split()[0] for each in server.heads()] == ["GET", "PROPFIND"][:asked]
    assert caught.value.far.startswith(root.rstrip("/"))


async def test_a_document_is_no_folder(far: Far) -> None:
    """Servers answer a document's URL with a slash by 207, 404, 403 or 400."""
    server, adapter = far
    for fault in (None, Fault(status="403 x"), Fault(status="400 x"), Fault(status="405 x")):
        server.faults["PROPFIND"] = [fault]
        with pytest.raises(WrongDocument):
            await adapter.list(server.target("old"), SECONDS)
    with pytest.raises(NotThere):
        await adapter.list(server.target("missing"), SECONDS)


async def test_a_207_about_nothing(far: Far) -> None:
    """Neither the folder nor anything in it: it is asked for alone."""
    server, adapter = far
    nothing = Fault(status="207 x", body=b'<D:multistatus xmlns:D="DAV:"/>')
    server.faults["PROPFIND"] = [nothing]
    listing = await adapter.list(server.target("folder"), SECONDS)
    assert (listing.entries, listing.partial) == ((), False)
    server.faults["PROPFIND"] = [nothing]
    with pytest.raises(NotThere):
        await adapter.list(server.target("missing"), SECONDS)
    document = nothing.body.replace(b"/>", b">") + DOCUMENT % b"/old" + b"</D:multistatus>"
    server.faults["PROPFIND"] = [nothing, Fault(status="207 x", body=document)]
    with pytest.raises(WrongDocument):  # by a server that does not mind the slash
        await adapter.list(server.target("old"), SECONDS)


async def test_a_folder_that_is_elsewhere() -> None:
    body = b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>/new/</D:href><D:propstat><D:prop>'
    body += b"<D:resourcetype><D:collection/></D:resourcetype></D:prop></D:propstat></D:response>"
    body += b"<D:response><D:href>/new/a</D:href><D:propstat><D:prop><D:resourcetype/></D:prop></D:propstat>"
    body += b"</D:response></D:multistatus>"
    adapter = DavAdapter()
    async with raw_server(reply(b"", "301 x", "Location: /new/"), reply(body, "207 x")) as server:
        root = f"dav://{LOOPBACK}:{server.port}/"
        listing: Listing = await adapter.list(Target(root + "old", root, reach=server.reach), SECONDS)
        assert (listing.url, [each.name for each in listing.entries]) == (root + "new/", [b"a"])
    await adapter.aclose()


async def test_a_folder_has_no_bytes(far: Far) -> None:
    """Servers give it a page, an empty document, or a slash."""
    server, adapter = far
    for target in (server.target("folder"), replace(server.target(), url=server.target("old").url + "/")):
        with pytest.raises(WrongDocument):
            async with adapter.read(target, 0, None, SECONDS):
                pass
    for refusal in ("403 x", "404 x", "405 x"):  # or one of these, which are not what is wrong
        server.faults["GET"] = [Fault(status=refusal)]
        with pytest.raises(WrongDocument):
            async with adapter.read(server.target("folder"), 0, None, SECONDS):
                pass
    server.put(b"/empty", b"")
    async with adapter.read(server.target("empty"), 0, None, SECONDS) as reading:
        assert [chunk async for chunk in reading.chunks] == []


# The place itself


async def test_the_place_itself_is_not_changed(far: Far) -> None:
    server, adapter = far
    before = server.documents()
    root = server.target()
    for doing, kind in (
        (adapter.erase(root, SECONDS), NotAllowed),
        (adapter.rename(root, server.target("x"), SECONDS), NotAllowed),
        (adapter.rename(server.target("old"), root, SECONDS), NotAllowed),
        (adapter.make_folder(root, SECONDS), ChangedMeanwhile),
        (adapter.write(root, upload(b"x"), Was.ANYTHING, SECONDS), WrongDocument),
        (adapter.copy(server.target("old"), root, SECONDS), WrongDocument),
    ):
        with pytest.raises(kind):
            await doing
    assert server.documents() == before


async def test_only_at_one_server(far: Far) -> None:
    server, adapter = far
    other = Target("dav://other.example/x", "dav://other.example/")
    with pytest.raises(NotPossible):
        await adapter.rename(server.target("old"), other, SECONDS)
    with pytest.raises(NotPossible):
        await adapter.copy(server.target("old"), other, SECONDS)


# Erasing


@pytest.mark.parametrize("fault", [Fault(acts=True), Fault(acts=True, status="500 x")], ids=str)
@pytest.mark.parametrize("name", ["old", "folder"])
async def test_erased_and_not_told(far: Far, fault: Fault, name: str) -> None:
    server, adapter = far
    server.faults["DELETE"] = [fault]
    await adapter.erase(server.target(name), SECONDS)
    assert b"/" + name.encode() not in server.things


async def test_not_erased(far: Far) -> None:
    server, adapter = far
    for fault, kind in (
        (Fault(status="500 x"), FarBusy),  # it is there, as it was
        (Fault(status="423 x"), FarBusy),
        (Fault(status="403 x"), NotAllowed),
        (Fault(status="401 x"), CredentialsRefused),
        (Fault(status="207 x"), FarBusy),
        (Fault(), MayBeDone),  # it may still come
        (Fault(status="500 x", meanwhile=b"changed"), MayBeDone),
    ):
        server.faults["DELETE"] = [fault]
        with pytest.raises(HeadraceError) as caught:
            await adapter.erase(server.target("old"), SECONDS)
        assert type(caught.value) is kind
        assert b"/old" in server.things


async def test_a_folder_that_is_not_empty(far: Far) -> None:
    server, adapter = far
    with pytest.raises(NotPossible):
        await adapter.erase(server.target("full"), SECONDS)
    assert "DELETE" not in server.methods()
    entries = b'<D:multistatus xmlns:D="DAV:"><D:response><D:href>/folder/</D:href><D:propstat><D:prop>'
    entries += b"<D:resourcetype><D:collection/></D:resourcetype></D:prop></D:propstat></D:response>"
    refused = b"<D:response><D:href>/folder/x</D:href><D:status>HTTP/1.1 403 x</D:status></D:response>"
    for entry in (refused, DOCUMENT % b""):  # one that is not told, or not named, is there all the same
        body = entries + entry + b"</D:multistatus>"
        server.faults["PROPFIND"] = [None, Fault(status="207 x", body=body)]
        with pytest.raises(NotPossible):
            await adapter.erase(server.target("folder"), SECONDS)
    assert "DELETE" not in server.methods()


# Renaming


@pytest.mark.parametrize("fault", [Fault(acts=True), Fault(acts=True, status="500 x")], ids=str)
@pytest.mark.parametrize("name", ["old", "full"])
async def test_renamed_and_not_told(far: Far, fault: Fault, name: str) -> None:
    server, adapter = far
    server.faults["MOVE"] = [fault]
    await adapter.rename(server.target(name), server.target("new"), SECONDS)
    assert b"/" + name.encode() not in server.things
    assert b"/new" in server.things


async def test_not_renamed(far: Far) -> None:
    server, adapter = far
    before = server.documents()
    for name, fault, kind in (
        ("old", Fault(status="500 x"), FarBusy),
        ("old", Fault(status="412 x"), ChangedMeanwhile),
        ("old", Fault(status="405 x"), NotPossible),
        ("old", Fault(), MayBeDone),
        ("full", Fault(status="500 x"), MayBeDone),  # some of it may be there and some here
        ("full", Fault(status="207 x"), MayBeDone),
    ):
        server.faults["MOVE"] = [fault]
        with pytest.raises(HeadraceError) as caught:
            await adapter.rename(server.target(name), server.target("new"), SECONDS)
        assert type(caught.value) is kind
        assert server.documents() == before


async def test_a_name_that_was_taken_meanwhile(far: Far) -> None:
    server, adapter = far
    server.faults["MOVE"] = [Fault(meanwhile=b"by somebody else", well=True)]
    with pytest.raises(ChangedMeanwhile):
        await adapter.rename(server.target("old"), server.target("new"), SECONDS)
    assert (server.things[b"/old"], server.things[b"/new"]) == (b"as it was", b"by somebody else")


async def test_a_rename_that_leads_nowhere(far: Far) -> None:
    server, adapter = far
    with pytest.raises(NotThere):
        await adapter.rename(server.target("old"), server.target("missing/new"), SECONDS)
    with pytest.raises(NotPossible):
        await adapter.rename(server.target("full"), server.target("full/deeper"), SECONDS)
    assert "MOVE" not in server.methods()


# Making folders


@pytest.mark.parametrize("fault", [Fault(acts=True), Fault(acts=True, status="500 x")], ids=str)
async def test_made_and_not_told(far: Far, fault: Fault) -> None:
    server, adapter = far
    server.faults["MKCOL"] = [fault]
    await adapter.make_folder(server.target("new"), SECONDS)
    assert server.things[b"/new"] is FOLDER


async def test_not_made(far: Far) -> None:
    server, adapter = far
    for name, fault, kind in (
        ("new", Fault(status="500 x"), FarBusy),
        ("new", Fault(status="405 x"), ChangedMeanwhile),
        ("new", Fault(status="403 x"), NotAllowed),
        ("new", Fault(status="415 x"), WrongDocument),  # RFC 4918 section 9.3.1
        ("new", Fault(status="507 x"), FarBusy),  # section 11.5
        ("new", Fault(), MayBeDone),
        ("missing/new", Fault(status="409 x"), NotThere),
        ("missing/new", Fault(status="500 x"), NotThere),
    ):
        server.faults["MKCOL"] = [fault]
        with pytest.raises(HeadraceError) as caught:
            await adapter.make_folder(server.target(name), SECONDS)
        assert type(caught.value) is kind
        assert b"/new" not in server.things


# Where nobody can be asked any more


DOING: dict[str, Callable[[Faulty, DavAdapter, float], Awaitable[None]]] = {
    "DELETE": lambda server, adapter, seconds: adapter.erase(server.target("old"), seconds),
    "MOVE": lambda server, adapter, seconds: adapter.rename(
        server.target("old"), server.target("new"), seconds
    ),
    "MKCOL": lambda server, adapter, seconds: adapter.make_folder(server.target("new"), seconds),
}
LOOKS = {"DELETE": 1, "MOVE": 3, "MKCOL": 1}


@pytest.mark.parametrize("method", DOING)
@pytest.mark.parametrize(
    "fault", [Fault(), Fault(acts=True), Fault(status="500 x"), Fault(status="500 x", acts=True)], ids=str
)
async def test_nobody_can_tell(far: Far, method: str, fault: Fault) -> None:
    server, adapter = far
    server.faults[method] = [fault]
    server.faults["PROPFIND"] = [*[None] * LOOKS[method], *UNREACHABLE]
    with pytest.raises(MayBeDone) as caught:
        await DOING[method](server, adapter, SECONDS)
    assert caught.value.far.startswith(f"dav://{LOOPBACK}:{server.port}")  # for WHY and the log


@pytest.mark.parametrize("method", DOING)
async def test_a_change_that_stalls(far: Far, method: str) -> None:
    server, adapter = far
    server.faults[method] = [Fault(end="stall")]
    with pytest.raises(MayBeDone):
        await DOING[method](server, adapter, SHORT)
    assert server.methods().count(method) == 1


async def test_kinds_of_things(far: Far) -> None:
    server, adapter = far
    assert (await adapter.stat(server.target("old"), SECONDS)).kind is Kind.FILE
    assert (await adapter.stat(server.target("full"), SECONDS)).kind is Kind.FOLDER


async def test_a_place_that_is_gone_is_no_document(far: Far) -> None:
    server, adapter = far
    server.faults["PROPFIND"] = [Fault(status="404 x")]
    with pytest.raises(NotThere):
        await adapter.list(server.target(), SECONDS)
