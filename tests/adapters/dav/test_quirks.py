"""What single servers do, by running them: TLS, locks (RFC 4918 section 7), folders, missing methods."""

import asyncio
import os
import signal
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from adapters import limits
from adapters.errors import (
    BrokenOff,
    CannotConnect,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    NotPossible,
    NotThere,
    Untrusted,
    WrongDocument,
)
from adapters.files import Kind, Was
from adapters.port import CredentialKind, Credentials
from tests.adapters.contract import HUSH
from tests.adapters.dav.servers import DavStand, any_name, stand_of
from tests.adapters.file_contract import BODIES, DOING, endless, fails, found, upload, whole, write
from tests.adapters.web_servers import WebServer, apache, lighttpd, nginx, served_folder, wsgidav

SECONDS = 20.0


@pytest.fixture(scope="module", params=[apache, nginx, lighttpd], ids=["apache", "nginx", "lighttpd"])
def tls_server(request: pytest.FixtureRequest) -> Iterator[WebServer]:
    with served_folder() as folder, request.param(folder, tls=True) as server:
        yield server


@pytest.fixture(scope="module", params=[wsgidav, apache, lighttpd], ids=["wsgidav", "apache", "lighttpd"])
def locking_server(request: pytest.FixtureRequest) -> Iterator[WebServer]:
    with served_folder() as folder, request.param(folder) as server:
        yield server


@pytest.fixture(scope="module")
def nginx_without_propfind() -> Iterator[WebServer]:
    with served_folder() as folder, nginx(folder, propfind=False) as server:
        yield server


@pytest.fixture
async def tls(tls_server: WebServer) -> AsyncIterator[DavStand]:
    async with stand_of(tls_server, any_name) as stand:
        yield stand


@pytest.fixture
async def locking(locking_server: WebServer) -> AsyncIterator[DavStand]:
    async with stand_of(locking_server, any_name) as stand:
        yield stand


@pytest.fixture
async def bare(nginx_without_propfind: WebServer) -> AsyncIterator[DavStand]:
    async with stand_of(nginx_without_propfind, any_name) as stand:
        yield stand


# TLS


@pytest.mark.parametrize("body", BODIES, ids=len)
async def test_there_and_back_over_tls(tls: DavStand, body: bytes) -> None:
    await write(tls, b"two words", body)
    assert tls.peek(b"two words") == body
    assert await whole(tls, tls.at(b"two words")) == body
    assert (await found(tls))[b"two words"].size == len(body)


async def test_changes_over_tls(tls: DavStand) -> None:
    """The Destination is https there."""
    await write(tls, b"one", b"1")
    await tls.adapter.append(tls.at(b"one"), upload(b"2", size=1), Was.ANYTHING, SECONDS)
    await tls.adapter.make_folder(tls.at(b"folder"), SECONDS)
    await tls.adapter.copy(tls.at(b"one"), tls.at(b"folder/two"), SECONDS)
    await tls.adapter.rename(tls.at(b"one"), tls.at(b"three"), SECONDS)
    assert (tls.peek(b"folder/two"), tls.peek(b"three")) == (b"12", b"12")
    await tls.adapter.erase(tls.at(b"folder/two"), SECONDS)
    await tls.adapter.erase(tls.at(b"folder"), SECONDS)
    assert tls.names() == {b"three"}


async def test_a_certificate_of_nobody(tls: DavStand) -> None:
    tls.put(b"old", b"as it was")
    tls.root = replace(tls.root, ca=None)
    for doing in (
        tls.adapter.list(tls.root, SECONDS),
        write(tls, b"old", b"new"),
        tls.adapter.erase(tls.at(b"old"), SECONDS),
    ):
        with pytest.raises(Untrusted):
            await doing
    assert (tls.peek(b"old"), tls.names()) == (b"as it was", {b"old"})


# Locks

LOCK = b"""<?xml version="1.0" encoding="utf-8"?>
<D:lockinfo xmlns:D="DAV:"><D:lockscope><D:exclusive/></D:lockscope><D:locktype><D:write/></D:locktype>
<D:owner>somebody else</D:owner></D:lockinfo>"""


async def test_what_somebody_else_has_locked(locking: DavStand) -> None:
    """RFC 4918 section 11.3: 423, which is not now rather than not at all."""
    locking.put(b"old", b"as it was")
    url = locking.at(b"old").url.replace("dav:", "http:")
    async with httpx.AsyncClient() as client:
        headers = {"Content-Type": "application/xml", "Timeout": "Second-60", "Depth": "0"}
        answer = await client.request("LOCK", url, content=LOCK, headers=headers)
        assert answer.status_code in {200, 201}
        for doing in (
            write(locking, b"old", b"new"),
            locking.adapter.append(locking.at(b"old"), upload(b"!"), Was.ANYTHING, SECONDS),
            locking.adapter.erase(locking.at(b"old"), SECONDS),
            locking.adapter.rename(locking.at(b"old"), locking.at(b"new"), SECONDS),
        ):
            with pytest.raises(FarBusy):
                await doing
            assert (locking.peek(b"old"), locking.names()) == (b"as it was", {b"old"})
        token = answer.headers["Lock-Token"]
        assert (await client.request("UNLOCK", url, headers={"Lock-Token": token})).is_success
    await write(locking, b"old", b"new")
    assert locking.peek(b"old") == b"new"


# A folder's URL without its slash


async def test_a_folder_is_not_read(locking: DavStand) -> None:
    """Apache and lighttpd redirect GET to the slash; WsgiDAV answers it."""
    locking.make(b"folder")
    for target in (locking.at(b"folder"), replace(locking.root, url=locking.at(b"folder").url + "/")):
        with pytest.raises(WrongDocument):
            await whole(locking, target)


# nginx with its own dav module alone: no PROPFIND


async def test_without_propfind_documents_can_be_worked_with(bare: DavStand) -> None:
    await write(bare, b"one", b"1")
    stat = await bare.adapter.stat(bare.at(b"one"), SECONDS)
    assert (stat.kind, stat.size) == (Kind.FILE, 1)
    assert await whole(bare, bare.at(b"one")) == b"1"
    await bare.adapter.append(bare.at(b"one"), upload(b"2", size=1), Was.ANYTHING, SECONDS)
    await bare.adapter.make_folder(bare.at(b"folder"), SECONDS)
    await bare.adapter.copy(bare.at(b"one"), bare.at(b"folder/two"), SECONDS)
    await bare.adapter.rename(bare.at(b"one"), bare.at(b"three"), SECONDS)
    assert (bare.peek(b"folder/two"), bare.peek(b"three")) == (b"12", b"12")
    assert bare.names() == {b"folder", b"three"}
    await bare.adapter.erase(bare.at(b"three"), SECONDS)
    with pytest.raises(NotThere):
        await bare.adapter.stat(bare.at(b"three"), SECONDS)


async def test_without_propfind_no_folder_is_listed_or_erased(bare: DavStand) -> None:
    bare.make(b"folder")
    bare.put(b"folder/inner", b"x")
    assert (await bare.adapter.stat(bare.at(b"folder"), SECONDS)).kind is Kind.FOLDER
    for doing in (
        bare.adapter.list(bare.at(b"folder"), SECONDS),
        bare.adapter.erase(bare.at(b"folder"), SECONDS),
    ):
        with pytest.raises(NotPossible):
            await doing
    with pytest.raises(HeadraceError):
        await write(bare, b"folder", b"x")
    assert bare.peek(b"folder/inner") == b"x"


# A login


async def test_a_login_that_is_taken_or_refused() -> None:
    """RFC 7617. A refusal is 533, and nothing is changed."""
    with served_folder() as folder, wsgidav(folder, login=("reader", HUSH)) as server:
        async with stand_of(server, any_name) as stand:
            stand.private = (*stand.private, "reader", HUSH)
            stand.root = replace(stand.root, credentials=Credentials(CredentialKind.BASIC, "reader", HUSH))
            await write(stand, b"old", b"as it was")
            await stand.adapter.append(stand.at(b"old"), upload(b"!", size=1), Was.ANYTHING, SECONDS)
            assert await whole(stand, stand.at(b"old")) == b"as it was!"
            for wrong in (None, Credentials(CredentialKind.BASIC, "reader", "another " + HUSH)):
                stand.root = replace(stand.root, credentials=wrong)
                for ability in DOING:
                    await fails(stand, DOING[ability](stand, SECONDS), CredentialsRefused)
                assert (stand.peek(b"old"), stand.names()) == (b"as it was!", {b"old"})


# A disk that is full


async def test_a_disk_that_is_full_leaves_what_was() -> None:
    """WsgiDAV, whose files cannot grow past 100,000 bytes (setrlimit(2)); 507 or 500 is what it answers."""
    with served_folder() as folder, wsgidav(folder, largest=100_000) as server:
        async with stand_of(server, any_name) as stand:
            stand.put(b"old", b"as it was")
            stand.put(b"long", bytes(150_000))
            for doing in (
                write(stand, b"old", bytes(150_000)),
                stand.adapter.append(stand.at(b"old"), upload(bytes(150_000)), Was.ANYTHING, SECONDS),
                stand.adapter.copy(stand.at(b"long"), stand.at(b"old"), SECONDS),
            ):
                with pytest.raises((FarBusy, BrokenOff)):  # it answers, and hangs up with bytes unread
                    await doing
                assert (stand.peek(b"old"), stand.names()) == (b"as it was", {b"old", b"long"})
            await write(stand, b"old", bytes(99_000))
            assert stand.peek(b"old") == bytes(99_000)


# A server that dies


STARTS: dict[str, Callable[[Path], AbstractContextManager[WebServer]]] = {
    "wsgidav": wsgidav,
    "apache": apache,
    "nginx": nginx,
    "lighttpd": lighttpd,
}


@pytest.mark.parametrize("name", STARTS)
async def test_a_server_that_dies_while_it_is_written_to(name: str) -> None:
    """SIGKILL: the old document is as it was; at most a temporary name is left, which says what it is."""
    with served_folder() as folder, STARTS[name](folder) as server:
        async with stand_of(server, any_name) as stand:
            stand.put(b"old", b"as it was")
            began = asyncio.Event()
            doing = stand.adapter.write(stand.at(b"old"), endless(began), Was.ANYTHING, SECONDS)
            writing = asyncio.create_task(doing)
            await began.wait()
            os.killpg(server.pid, signal.SIGKILL)  # a session of its own: see web_servers
            with pytest.raises((BrokenOff, CannotConnect)) as caught:
                await writing
            assert caught.value.far.startswith("dav://")
            assert stand.peek(b"old") == b"as it was"
            others = stand.names() - {b"old"}
            assert all(b".hr-" in each and each.endswith(b".part") for each in others if each[:1] != b".")


# Folders that are asked for like documents


@pytest.mark.parametrize("login", [(), ("reader", HUSH)], ids=["open", "with a login"])
async def test_a_folder_without_its_slash_is_no_refused_login(login: tuple[str, ...]) -> None:
    """WsgiDAV says 403 to GET of a collection, whoever asks (measured)."""
    with served_folder() as folder, wsgidav(folder, login=login) as server:
        async with stand_of(server, any_name) as stand:
            own = Credentials(CredentialKind.BASIC, *login) if login else None
            stand.root = replace(stand.root, credentials=own)
            stand.make(b"entries")
            for _ in range(2):
                for offset, count in ((0, None), (0, 0), (3, 5)):
                    fault = await fails(
                        stand, whole(stand, stand.at(b"entries"), offset, count), WrongDocument
                    )
                    assert fault.sentence == "That is a folder"


# Many at once


@pytest.mark.parametrize("threads", [4, 1])
async def test_appends_and_reads_at_a_server_of_few_threads(threads: int) -> None:
    """As many appends as the service lets begin at one origin, with reads between them, at a server that
    serves few requests at once, such as many a small script: no append waits for itself.
    """
    old = bytes(range(256)) * 8_000  # 2 MB: more than sockets hold
    with served_folder() as folder, wsgidav(folder, threads=threads) as server:
        async with stand_of(server, any_name) as stand:
            logs = [b"log %d" % number for number in range(limits.TRANSFERS_PER_ORIGIN)]
            for name in (*logs, b"document"):
                stand.put(name, old)

            async def append(name: bytes) -> None:
                for _ in range(3):
                    more = upload(b"more", size=4)
                    await stand.adapter.append(stand.at(name), more, Was.ANYTHING, SECONDS)

            async def read() -> None:
                for _ in range(3):
                    assert await whole(stand, stand.at(b"document")) == old

            async with asyncio.timeout(SECONDS):
                await asyncio.gather(*(append(name) for name in logs), *(read() for _ in range(6)))
            assert [stand.peek(name) for name in logs] == [old + b"more" * 3] * len(logs)


@pytest.mark.parametrize("body", [b"", b"<p>x</p>" * 50_000], ids=len)
async def test_many_that_could_be_folders_at_once(tls: DavStand, body: bytes) -> None:
    """Each is looked at besides, as a folder's GET may be empty or a page: that look waits for no reading."""
    tls.put(b"page.html", body)
    async with asyncio.timeout(SECONDS):
        read = await asyncio.gather(*(whole(tls, tls.at(b"page.html")) for _ in range(100)))
    assert set(read) == {body}
