"""FtpAdapter keeps the contract with real servers: pyftpdlib, vsftpd, proftpd, pure-ftpd, plain and TLS."""

import re
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from itertools import count

import pytest
import pytest_asyncio

from adapters.files import Target
from adapters.ftp.adapter import FtpAdapter
from adapters.port import Reach
from tests.adapters.file_contract import DiskStand, FarFileContract, FarFileStand
from tests.adapters.ftp_servers import LOOPBACK, SERVERS, FtpServer, free_ports, ftp_server

CLIENT_SIDE = {  # what the far server has no part in: with one kind of it is enough
    "test_no_time_at_all",
    "test_the_root_is_not_left",
    "test_nobody_listens",
    "test_a_private_address_that_nobody_named",
    "test_closing_twice_does_no_harm",
}
TLS_SIDE = {  # what goes through a data connection, and so differs inside TLS
    "test_an_empty_folder_is_not_a_missing_one",
    "test_what_was_listed_can_be_read",
    "test_three_hundred_entries",
    "test_stat",
    "test_bytes_come_through_whole",
    "test_parts",
    "test_leaving_early_harms_nobody",
    "test_a_cancelled_read_harms_nobody",
    "test_two_hundred_at_once",
    "test_writing_and_replacing",
    "test_an_upload_that_breaks_off_leaves_what_was",
    "test_a_cancelled_upload_leaves_what_was",
    "test_ten_at_once_end_in_one_of_them",
    "test_appending",
    "test_renaming",
}


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each test with the servers that it can tell apart."""
    if "running" not in metafunc.fixturenames:
        return
    name = metafunc.function.__name__
    kinds = [("pyftpdlib", False), ("pyftpdlib", True)]
    if name not in CLIENT_SIDE:
        kinds += [(kind, False) for kind in SERVERS[1:]]
    if name in TLS_SIDE:
        kinds += [(kind, True) for kind in SERVERS[1:]]
    ids = [f"{kind}-{'tls' if tls else 'plain'}" for kind, tls in kinds]
    metafunc.parametrize("running", kinds, ids=ids, indirect=True, scope="module")


@pytest.fixture(scope="module")
def running(request: pytest.FixtureRequest) -> Iterator[FtpServer]:
    kind, tls = request.param
    with ftp_server(kind, tls=tls) as server:
        yield server


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def shared(running: FtpServer) -> AsyncIterator[FtpAdapter]:
    """One adapter for all tests of a server: its kept logins have to outlive whatever a test does to them."""
    adapter = FtpAdapter()
    yield adapter
    await adapter.aclose()


_folders = count()


class Stand(DiskStand, FarFileStand):
    """A folder of its own on a server that runs for all tests."""

    adapter: FtpAdapter

    def __init__(self, server: FtpServer, adapter: FtpAdapter) -> None:
        self.server = server.within(f"t{next(_folders)}")
        self.folder = self.server.folder
        self.root = self.server.target
        self.private = self.server.private
        self.adapter = adapter

    def contacts(self) -> int:
        return self.adapter.logins.opened

    def nobody(self) -> Target:
        port = free_ports(1)[0]
        url = f"{self.root.url.partition(':')[0]}://{LOOPBACK}:{port}/pub/"
        reach = Reach(named=frozenset({(LOOPBACK, port)}))
        return replace(self.root, url=url, root=url, reach=reach)

    def takes(self, name: bytes) -> bool:
        if b"\n" in name or b"\r" in name or re.search(rb"\xff[\xf0-\xff]", name):
            return False  # RFC 959 section 5.3.1: these end a command; RFC 854: these are commands
        # Measured: pure-ftpd writes `_` for blanks at the ends and control characters, and refuses `\`.
        return self.server.kind != "pure-ftpd" or re.search(rb"\A | \Z|[\x00-\x1f\x7f\\]", name) is None


@pytest.mark.asyncio(loop_scope="module")
class TestRealServers(FarFileContract):
    @pytest_asyncio.fixture(loop_scope="module")
    async def stand(
        self, running: FtpServer, shared: FtpAdapter, request: pytest.FixtureRequest
    ) -> AsyncIterator[Stand]:
        if "closing" not in request.node.name:
            yield Stand(running, shared)
            return
        made = Stand(running, FtpAdapter())
        yield made
        await made.adapter.aclose()
