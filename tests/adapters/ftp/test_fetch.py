"""FtpAdapter keeps the contract of all adapters (fetching whole documents), with a scripted server."""

from collections.abc import AsyncIterator

import pytest

from adapters.ftp.adapter import FtpAdapter
from adapters.port import Call, Reach
from tests.adapters.contract import AdapterContract, Stand
from tests.adapters.ftp.scripted import LOOPBACK, Fault, Scripted, scripted
from tests.adapters.ftp_servers import free_ports


class FtpStand(Stand):
    def __init__(self, server: Scripted) -> None:
        self.adapter = FtpAdapter()
        self._server = server
        self._made = 0

    def _call(self, name: str) -> Call:
        target = self._server.target
        return Call(target.url + name, credentials=target.credentials, reach=target.reach, root=target.root)

    async def document(self, body: bytes) -> Call:
        self._made += 1
        self._server.documents[b"/pub/d%d" % self._made] = body
        return self._call(f"d{self._made}")

    async def absent(self) -> Call:
        return self._call("absent")

    async def stalled(self) -> Call:
        self._server.faults["RETR"] = Fault("data-stall")
        return await self.document(b"{}" * 1000)

    async def cut_short(self) -> Call:
        self._server.faults["RETR"] = Fault("data-cut")
        return await self.document(b"{}" * 1000)

    async def nobody(self) -> Call:
        port = free_ports(1)[0]
        return Call(f"ftp://{LOOPBACK}:{port}/x", reach=Reach(named=frozenset({(LOOPBACK, port)})))

    def contacts(self) -> int:
        return self._server.connections


class TestFetching(AdapterContract):
    @pytest.fixture
    async def stand(self) -> AsyncIterator[FtpStand]:
        async with scripted() as server:
            made = FtpStand(server)
            yield made
            await made.adapter.aclose()
