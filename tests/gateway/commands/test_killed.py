"""kill -9 of a real gateway in the middle of STORE and COPY: the old document intact or the new one whole,
and what the client had handed over still there, to be delivered by `headrace spool retry`.

The far server is pyftpdlib, behind a proxy that lets its data through slowly.
"""

import asyncio
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.adapters.ftp_servers import FtpServer, ftp_server
from tests.faults.proxy import FaultProxy
from tests.faults.script import Channel, Drip, Way
from tests.gateway.commands.processes import headrace, serving

OLD, NEW = b"old\n" * 1_000, b"new\n" * 50_000


@pytest.fixture(scope="module")
def far() -> Iterator[FtpServer]:
    with ftp_server("pyftpdlib") as server:
        yield server


def configure(folder: Path, far: FtpServer, port: int) -> None:
    login = far.target.credentials
    assert login is not None
    (folder / "password").write_text(login.secret)
    (folder / "shelf").mkdir()
    (folder / "headrace.toml").write_text(
        f"""
        [gateway]
        state = "state"
        [[listen]]
        port = 0
        [place.quay]
        base = "ftp://127.0.0.1:{port}/pub/"
        user = "{login.name}"
        secret = "file:password"
        write = true
        [place.shelf]
        base = "{(folder / "shelf").as_uri()}/"
        write = true
        """
    )


def bodies(folder: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in folder.iterdir()}


async def connect(said: str) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    return await asyncio.open_connection("127.0.0.1", int(said))


def wait_until(folder: Path, pattern: str, size: int) -> None:
    """Until some of a matching file is there."""
    ends = time.monotonic() + 10
    while not any(each.stat().st_size >= size for each in folder.glob(pattern)):
        assert time.monotonic() < ends
        time.sleep(0.005)


async def killed(folder: Path, requests: bytes, replies: int, *, when: tuple[Path, str, int]) -> None:
    """Send `requests` to a gateway, wait for that many bytes of replies and for a file, and kill it."""
    with serving(folder=folder) as running:
        found = await asyncio.to_thread(running.wait_for, r"listening on 127\.0\.0\.1:(\d+)")
        reader, writer = await connect(found[1])
        writer.write(requests)
        await asyncio.wait_for(reader.readexactly(replies), 10)
        await asyncio.to_thread(wait_until, *when)
        running.process.send_signal(signal.SIGKILL)
        await asyncio.to_thread(running.process.wait)
        writer.close()


async def test_while_a_store_is_taken_in(far: FtpServer, tmp_path: Path) -> None:
    configure(tmp_path, far, far.port)
    document = far.folder / "one.txt"
    document.write_bytes(OLD)
    lines = b">new\r" * 40_000
    spool = tmp_path / "state" / "spool"
    await killed(tmp_path, b"STORE quay:one.txt\r" + lines, 18, when=(spool, "*.data", 1))
    assert bodies(far.folder)["one.txt"] == OLD
    said = await asyncio.to_thread(headrace, "spool", folder=tmp_path)
    assert said.stdout == b"Nothing waits.\n"
    assert b"never ended" in said.stderr
    assert not any(spool.iterdir())


async def test_while_a_store_is_delivered(far: FtpServer, tmp_path: Path) -> None:
    document = far.folder / "two.txt"
    document.write_bytes(OLD)
    slow = Drip(20_000, Way.UP, Channel.DATA)
    async with FaultProxy(far.port, [slow], ftp=True) as proxy:
        configure(tmp_path, far, proxy.port)
        request = b"STORE quay:two.txt 200000\r" + NEW
        await killed(tmp_path, request, 18, when=(far.folder, "two.txt.hr-*.part", 1))
    assert document.read_bytes() == OLD
    configured = (tmp_path / "headrace.toml").read_text()
    (tmp_path / "headrace.toml").write_text(configured.replace(f":{proxy.port}/", f":{far.port}/"))
    listed = await asyncio.to_thread(headrace, "spool", folder=tmp_path)
    assert b"QUAY:two.txt" in listed.stdout
    number = listed.stdout.splitlines()[1].split()[0].decode()
    again = await asyncio.to_thread(headrace, "spool", "retry", number, folder=tmp_path)
    assert again.returncode == 0, again
    assert document.read_bytes() == NEW
    assert not list(far.folder.glob("two.txt.hr-*"))
    assert (await asyncio.to_thread(headrace, "spool", folder=tmp_path)).stdout == b"Nothing waits.\n"


async def test_while_a_copy_goes_on(far: FtpServer, tmp_path: Path) -> None:
    document = far.folder / "three.txt"
    document.write_bytes(OLD)
    slow = Drip(20_000, Way.UP, Channel.DATA)
    async with FaultProxy(far.port, [slow], ftp=True) as proxy:
        configure(tmp_path, far, proxy.port)
        (tmp_path / "shelf" / "new.txt").write_bytes(NEW)
        request = b"NOOP\rCOPY shelf:new.txt quay:three.txt\r"
        await killed(tmp_path, request, 18, when=(far.folder, "three.txt.hr-*.part", 1))
    assert document.read_bytes() == OLD
    assert (tmp_path / "shelf" / "new.txt").read_bytes() == NEW
    configured = (tmp_path / "headrace.toml").read_text()
    (tmp_path / "headrace.toml").write_text(configured.replace(f":{proxy.port}/", f":{far.port}/"))
    listed = await asyncio.to_thread(headrace, "spool", folder=tmp_path)
    assert b"QUAY:three.txt" in listed.stdout
    number = listed.stdout.splitlines()[1].split()[0].decode()
    again = await asyncio.to_thread(headrace, "spool", "retry", number, folder=tmp_path)
    assert again.returncode == 0, again
    assert document.read_bytes() == NEW
    assert not list(far.folder.glob("three.txt.hr-*"))


async def test_while_a_copy_to_a_folder_of_this_computer_goes_on(far: FtpServer, tmp_path: Path) -> None:
    (far.folder / "four.txt").write_bytes(NEW)
    slow = Drip(20_000, Way.DOWN, Channel.DATA)
    async with FaultProxy(far.port, [slow], ftp=True) as proxy:
        configure(tmp_path, far, proxy.port)
        (tmp_path / "shelf" / "old.txt").write_bytes(OLD)
        request = b"NOOP\rCOPY quay:four.txt shelf:old.txt\r"
        spool = tmp_path / "state" / "spool"
        await killed(tmp_path, request, 18, when=(spool, "*.job", 1))
    assert (tmp_path / "shelf" / "old.txt").read_bytes() == OLD
    assert bodies(tmp_path / "shelf").keys() == {"old.txt"}
