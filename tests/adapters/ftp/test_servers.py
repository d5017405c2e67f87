"""What real servers do differently: links, rights, names, digests, logins. Measured on the four."""

from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from itertools import count

import pytest

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    CredentialsRefused,
    HeadraceError,
    NameNotAllowed,
    NotAllowed,
    NotThere,
)
from adapters.files import Digest, Kind, Target, Upload, Was
from adapters.ftp.adapter import FtpAdapter
from adapters.port import CredentialKind, Credentials
from tests.adapters.contract import tells_nothing_private
from tests.adapters.file_contract import AWKWARD, upload
from tests.adapters.ftp_servers import SERVERS, FtpServer, ftp_server

SECONDS = 20.0
_folders = count()


@pytest.fixture(scope="module", params=SERVERS)
def running(request: pytest.FixtureRequest) -> Iterator[FtpServer]:
    with ftp_server(request.param) as server:
        yield server


@pytest.fixture
def server(running: FtpServer) -> FtpServer:
    return running.within(f"s{next(_folders)}")


async def whole(adapter: FtpAdapter, target: Target) -> bytes:
    async with adapter.read(target, 0, None, SECONDS) as found:
        return b"".join([chunk async for chunk in found.chunks])


async def test_links(server: FtpServer, adapter: FtpAdapter) -> None:
    (server.folder / "document").write_bytes(b"12345")
    (server.folder / "folder").mkdir()
    (server.folder / "folder").chmod(0o777)
    for name, to in (("to-document", "document"), ("to-folder", "folder"), ("to-nowhere", "missing")):
        (server.folder / name).symlink_to(to)
    listed = {each.name: each.kind for each in (await adapter.list(server.target, SECONDS)).entries}
    # Some show what a link leads to, with the link's own size, and leave out one that leads nowhere.
    assert listed[b"to-document"] in {Kind.LINK, Kind.FILE}
    assert listed[b"to-folder"] in {Kind.LINK, Kind.FOLDER}
    assert listed.get(b"to-nowhere", Kind.LINK) in {Kind.LINK, Kind.FILE}
    target = server.target.within(b"to-document")
    assert await whole(adapter, target) == b"12345"
    assert (await adapter.stat(target, SECONDS)).size == 5
    assert (await adapter.list(server.target.within(b"to-folder"), SECONDS)).entries == ()
    for link in (b"to-document", b"to-folder", b"to-nowhere"):  # the links, not what they lead to
        await adapter.erase(server.target.within(link), SECONDS)
    assert (server.folder / "folder").is_dir()
    assert not (server.folder / "to-folder").is_symlink()
    assert not (server.folder / "to-nowhere").is_symlink()
    assert (server.folder / "document").read_bytes() == b"12345"
    assert not (server.folder / "to-document").is_symlink()


async def test_rights(server: FtpServer, adapter: FtpAdapter) -> None:
    if server.kind == "pyftpdlib":  # it runs as whoever started it: rights of the disk mean nothing
        assert await whole(adapter, await closed(server)) == b"secret"
        return
    with pytest.raises(HeadraceError) as caught:
        await whole(adapter, await closed(server))
    assert type(caught.value) in {NotAllowed, NotThere}  # vsftpd's text tells nothing
    (server.folder / "fixed" / "empty").mkdir(parents=True)
    (server.folder / "fixed").chmod(0o555)
    fixed = server.target.within(b"fixed")
    for doing in (
        lambda: adapter.write(fixed.within(b"new"), upload(b"x"), Was.ANYTHING, SECONDS),
        lambda: adapter.make_folder(fixed.within(b"new"), SECONDS),
        lambda: adapter.erase(fixed.within(b"empty"), SECONDS),
    ):
        with pytest.raises(HeadraceError) as refused:
            await doing()
        assert type(refused.value) in {NotAllowed, NameNotAllowed}  # vsftpd: 553 Could not create file.
        tells_nothing_private(refused.value)
    assert [path.name for path in (server.folder / "fixed").iterdir()] == ["empty"]


async def closed(server: FtpServer) -> Target:
    path = server.folder / "closed"
    path.write_bytes(b"secret")
    path.chmod(0)
    return server.target.within(b"closed")


ODD = (b" leading", b"trailing ", b"tab\tinside", b"bell\x07", b"two  blanks", b"~", b"-", b"\\")


@pytest.mark.parametrize("name", ODD)
async def test_odd_names_are_written_as_they_are_or_not_at_all(
    server: FtpServer, adapter: FtpAdapter, name: bytes
) -> None:
    """pure-ftpd would write other names, over what has them."""
    (server.folder / "trailing_").write_bytes(b"as it was")
    target = server.target.within(name)
    doings = (
        lambda: adapter.write(target, upload(b"new"), Was.ANYTHING, SECONDS),
        lambda: adapter.erase(target, SECONDS),
        lambda: adapter.make_folder(target, SECONDS),
        lambda: adapter.erase(target, SECONDS),
        lambda: adapter.write(server.target.within(b"x"), upload(b"x"), Was.ANYTHING, SECONDS),
        lambda: adapter.rename(server.target.within(b"x"), target, SECONDS),
    )
    for doing in doings:
        try:
            await doing()
        except (NameNotAllowed, NotThere):
            assert server.kind == "pure-ftpd"
            assert name not in {b"two  blanks", b"~", b"-"}
    left = {bytes(path.name.encode("utf-8", "surrogateescape")) for path in server.folder.iterdir()}
    assert left in ({b"trailing_", name}, {b"trailing_", b"x"})
    assert (server.folder / "trailing_").read_bytes() == b"as it was"


async def test_a_digest_is_used_where_there_is_one(server: FtpServer, adapter: FtpAdapter) -> None:
    target = server.target.within(b"document")
    written = await adapter.write(target, upload(b"12345"), Was.ANYTHING, SECONDS)
    async with adapter.read(target, 0, None, SECONDS) as found:
        digest = found.digest
    if server.kind == "proftpd":  # its mod_digest has HASH
        assert written.checked == "sha256"
        # of `printf 12345 | sha256sum`
        digits = "5994471abb01112afcc18159f6cc74b4f511b99806da59b3caf5a9c173cacfc5"
        assert digest == Digest("sha256", digits)
    else:
        assert (written.checked, digest) == ("size", None)


async def test_a_wrong_password(server: FtpServer, adapter: FtpAdapter) -> None:
    if server.kind == "pure-ftpd":
        return  # it keeps everybody waiting for seconds; what it says then, the scripted server says too
    wrong = Credentials(CredentialKind.BASIC, "reader", "hush-hush")
    with pytest.raises(CredentialsRefused) as caught:
        await adapter.list(replace(server.target, credentials=wrong), SECONDS)
    tells_nothing_private(caught.value)
    assert (await adapter.list(server.target, SECONDS)).entries == ()


async def test_times_are_those_of_the_disk(server: FtpServer, adapter: FtpAdapter) -> None:
    import os
    from datetime import UTC, datetime

    moment = datetime(2024, 2, 29, 23, 59, 58, tzinfo=UTC)
    path = server.folder / "document"
    path.write_bytes(b"x")
    os.utime(path, (moment.timestamp(), moment.timestamp()))
    assert (await adapter.stat(server.target.within(b"document"), SECONDS)).modified == moment
    entry = (await adapter.list(server.target, SECONDS)).entries[0]
    assert entry.modified is not None
    assert entry.modified.date() == moment.date()


async def test_names_are_renamed_across_folders(server: FtpServer, adapter: FtpAdapter) -> None:
    (server.folder / "folder").mkdir()
    (server.folder / "folder").chmod(0o777)
    names = [
        name for name in AWKWARD if server.kind != "pure-ftpd" or name.strip(b" ").replace(b"\\", b"") == name
    ]
    for name in names:
        (server.folder / "x").write_bytes(name)
        await adapter.rename(
            server.target.within(b"x"), server.target.within(b"folder").within(name), SECONDS
        )
    found = (await adapter.list(server.target.within(b"folder"), SECONDS)).entries
    assert {each.name for each in found} == set(names)


async def test_a_server_that_is_killed_half_way_leaves_the_old_one(adapter: FtpAdapter) -> None:
    with ftp_server("pyftpdlib") as server:
        (server.folder / "old").write_bytes(b"as it was")

        async def chunks() -> AsyncIterator[bytes]:
            yield b"n" * 100_000
            server.process.kill()
            server.process.wait()
            for _ in range(1000):
                yield b"n" * 100_000

        with pytest.raises((BrokenOff, CannotConnect)):
            await adapter.write(server.target.within(b"old"), Upload(chunks), Was.ANYTHING, SECONDS)
        assert (server.folder / "old").read_bytes() == b"as it was"
        with pytest.raises(CannotConnect):
            await adapter.list(server.target, SECONDS)
