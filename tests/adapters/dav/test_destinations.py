"""A server that reads a Destination wrongly must not put a document where another one is."""

from collections.abc import AsyncIterator, Iterator
from contextlib import suppress

import pytest

from adapters import limits
from adapters.dav.adapter import DavAdapter
from adapters.dav.places import is_odd
from adapters.errors import HeadraceError, NotAllowed, NotPossible
from adapters.files import Was
from tests.adapters.dav.faulty import FOLDER, Fault, Faulty, faulty
from tests.adapters.dav.servers import DavStand, any_name, stand_of
from tests.adapters.file_contract import upload
from tests.adapters.web_servers import WebServer, apache, served_folder, wsgidav

SECONDS = 20.0
ODD = (b"a;b", b"a?b", b";", b"what?;")


@pytest.fixture(scope="module", params=["wsgidav", "apache"])
def server(request: pytest.FixtureRequest) -> Iterator[WebServer]:
    with (
        served_folder() as folder,
        wsgidav(folder) if request.param == "wsgidav" else apache(folder) as server,
    ):
        yield server


@pytest.fixture
async def stand(server: WebServer) -> AsyncIterator[DavStand]:
    async with stand_of(server, any_name) as stand:
        yield stand


async def test_neighbours_are_left_alone(stand: DavStand) -> None:
    stand.put(b"a", b"neighbour")
    for name in ODD:
        for body in (b"first", b"second"):
            data = upload(body, size=len(body))
            await stand.adapter.write(stand.at(name), data, Was.ANYTHING, SECONDS)
            assert stand.peek(name) == body
        await stand.adapter.append(stand.at(name), upload(b"!", size=1), Was.ANYTHING, SECONDS)
        await stand.adapter.copy(stand.at(b"a"), stand.at(name), SECONDS)
        assert stand.peek(name) == b"neighbour"
    assert stand.names() == {b"a", *ODD}
    assert stand.peek(b"a") == b"neighbour"


async def test_a_rename_goes_where_it_should_or_nowhere(stand: DavStand) -> None:
    stand.put(b"old", b"as it was")
    try:
        await stand.adapter.rename(stand.at(b"old"), stand.at(b"new;name"), SECONDS)
    except NotPossible:
        assert stand.names() == {b"old"}
    else:
        assert stand.names() == {b"new;name"}


async def test_a_folder_of_an_odd_name(stand: DavStand) -> None:
    stand.make(b"a?b")
    stand.make(b"c;d")
    for name in (b"a?b/inside", b"c;d/inside"):
        await stand.adapter.write(stand.at(name), upload(b"x", size=1), Was.ANYTHING, SECONDS)
        assert stand.peek(name) == b"x"
    assert stand.names() == {b"a?b", b"c;d"}


@pytest.fixture
async def far() -> AsyncIterator[tuple[Faulty, DavAdapter]]:
    async with faulty() as (server, adapter):
        yield server, adapter


async def test_a_server_is_tried_once_and_plain_names_not_at_all(far: tuple[Faulty, DavAdapter]) -> None:
    server, adapter = far
    for name, puts in (("plain", 1), ("a;b", 2), ("c;d", 1)):
        server.requests.clear()
        await adapter.write(server.target(name), upload(b"x", size=1), Was.ANYTHING, SECONDS)
        assert server.methods().count("PUT") == puts
    assert set(server.documents()) == {b"/plain", b"/a;b", b"/c;d"}


async def test_a_trial_that_fails_changes_nothing(far: tuple[Faulty, DavAdapter]) -> None:
    server, adapter = far
    server.put(b"/a;b", b"as it was")
    server.faults["PUT"] = [None, Fault(status="403 x")]
    with pytest.raises(NotAllowed):
        await adapter.write(server.target("a;b"), upload(b"x", size=1), Was.ANYTHING, SECONDS)
    assert server.documents() == {b"/a;b": b"as it was"}


def test_names_that_a_parsed_destination_loses_something_of() -> None:
    """The URL standard removes TAB, CR and LF from a URL (WHATWG, "URL parsing"), and some parsers do so."""
    assert all(is_odd(name) for name in (b"a;b", b"a?b", b"a#b", b"\ta", b"a\rb", b"a\n"))
    assert not any(is_odd(name) for name in (b"a b", b"\xe4", b"a%3Bb"))


async def test_no_copy_goes_to_a_server_that_reads_wrongly(far: tuple[Faulty, DavAdapter]) -> None:
    server, adapter = far
    server.put(b"/old", b"as it was")
    server.things[b"/c;d"] = FOLDER
    server.faults["MOVE"] = [Fault(status="201 Created")]  # and nothing is there
    with pytest.raises(NotPossible):
        await adapter.copy(server.target("old"), server.target("c;d/new"), SECONDS)
    assert server.documents() == {b"/old": b"as it was", b"/c;d": FOLDER}


async def test_what_was_tried_and_cannot_be_tidied_up_is_no_failure(
    far: tuple[Faulty, DavAdapter], monkeypatch: pytest.MonkeyPatch
) -> None:
    server, adapter = far
    server.put(b"/old", b"as it was")
    monkeypatch.setattr(limits, "DAV_SERVERS", 1)
    server.faults["DELETE"] = [Fault()] * 4
    known = adapter._destinations._known
    known["dav", "elsewhere.example", 80] = True  # the only one that there is room for
    for name in ("a;b", "c;d"):
        await adapter.copy(server.target("old"), server.target(name), SECONDS)
    left = server.documents()
    assert {left.pop(each) for each in (b"/old", b"/a;b", b"/c;d")} == {b"as it was"}
    assert all(each.startswith(b"/hr-") for each in left)


@pytest.mark.parametrize("looks", range(6))
async def test_where_nothing_can_be_seen_any_more_what_was_tried_goes(
    far: tuple[Faulty, DavAdapter], looks: int
) -> None:
    server, adapter = far
    server.put(b"/old", b"as it was")
    server.faults["PROPFIND"] = [None] * looks + [Fault(status="500 x")] * 9
    with suppress(HeadraceError):
        await adapter.copy(server.target("old"), server.target("a;b"), SECONDS)
    assert server.documents().keys() <= {b"/old", b"/a;b"}
