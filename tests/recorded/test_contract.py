"""The contract of adapters with documents and folders holds for what is played: everything that its suite
does is done live at a real server, recorded, and played.
"""

from collections.abc import AsyncIterator, Iterator
from itertools import count
from pathlib import Path

import pytest
import pytest_asyncio

from adapters.files import Target
from adapters.ftp.adapter import FtpAdapter
from tests.adapters.dav.servers import DavStand, any_name
from tests.adapters.file_contract import DiskStand, FarFileContract, FarFileStand
from tests.adapters.ftp.test_adapter import Stand
from tests.adapters.ftp_servers import FtpServer, ftp_server
from tests.adapters.http.servers import free_port
from tests.adapters.web_servers import WebServer, apache, served_folder
from tests.recorded.contract import LiveThenPlayed

_folders = count()


class FtpTwice(DiskStand, FarFileStand):
    """A folder of a running FTP server, and the adapter that records and plays."""

    def __init__(self, server: FtpServer, inner: FtpAdapter, site: Path) -> None:
        self._plain = Stand(server, inner)
        self.folder, self.root, self.private = self._plain.folder, self._plain.root, self._plain.private
        self.adapter = self.twice = LiveThenPlayed(inner, site)

    def contacts(self) -> int:
        return self._plain.contacts()

    def nobody(self) -> Target:
        return self._plain.nobody()

    def takes(self, name: bytes) -> bool:
        return self._plain.takes(name)


@pytest.fixture(scope="module")
def ftp() -> Iterator[FtpServer]:
    with ftp_server("pyftpdlib") as server:
        yield server


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def logins() -> AsyncIterator[FtpAdapter]:
    adapter = FtpAdapter()
    yield adapter
    await adapter.aclose()


@pytest.mark.asyncio(loop_scope="module")
class TestFtp(FarFileContract):
    @pytest_asyncio.fixture(loop_scope="module")
    async def stand(
        self, ftp: FtpServer, logins: FtpAdapter, tmp_path: Path, request: pytest.FixtureRequest
    ) -> AsyncIterator[FtpTwice]:
        closing = "closing" in request.node.name
        made = FtpTwice(ftp, FtpAdapter() if closing else logins, tmp_path / "site")
        yield made
        made.twice.check()
        if closing:
            await made.adapter.aclose()


class DavTwice(DavStand):
    """The same of a WebDAV server."""

    def __init__(self, server: WebServer, closed_port: int, site: Path) -> None:
        super().__init__(server, any_name, closed_port)
        self.twice = LiveThenPlayed(self.adapter, site)
        self.adapter = self.twice


@pytest.fixture(scope="module")
def dav() -> Iterator[WebServer]:
    with served_folder() as folder, apache(folder) as server:
        yield server


class TestDav(FarFileContract):
    """What breaks off at this end takes its time with WebDAV and is recorded alike: the FTP suite has it."""

    test_an_upload_that_stalls_ends_in_time = None  # type: ignore[assignment]
    test_an_upload_that_breaks_off_leaves_what_was = None  # type: ignore[assignment]
    test_appending_is_all_or_nothing = None  # type: ignore[assignment]

    @pytest.fixture
    async def stand(self, dav: WebServer, tmp_path: Path) -> AsyncIterator[DavTwice]:
        made = DavTwice(dav, await free_port(), tmp_path / "site")
        yield made
        made.twice.check()
        await made.adapter.aclose()
