"""A gateway with a trace says what it says without one, and the trace rehearses as it was."""

import asyncio
import socket
from pathlib import Path

from adapters.redaction import Redactor
from gateway.catalogue.model import Catalogue, Listener
from gateway.rehearsal.running import run_script
from gateway.rehearsal.script.reading import read_script
from gateway.rehearsal.tapping import Tapped
from gateway.rehearsal.tracing import Trace
from gateway.service.doors import Bound
from gateway.service.server import Server, Tap
from tests.gateway.service.clients.test_connection import SOURCES
from tests.gateway.service.clients.test_granting import Late
from tests.gateway.talking import talk

SAID = (
    b"NOOP one\rNOOP two\r\nHELP\n",
    b"SET eol=cr\rNOOP\rSET echo=on\rNOOP\rnot\x18NOOP three\r",
    b"ASK nothing\r\r\rSET page=3\rHELP SET\rMORE\rWHY\rBYE\r",
    b"unfinished",
    b"SET flow=xon\rHELP\r\x13\x11NOOP\r\xff\xf1\xff",
)


async def started(tap: Tap | None) -> tuple[Server, list[Bound]]:
    catalogue = Catalogue(listeners=(Listener(port=0), Listener(port=0, greeting=True)), sources=SOURCES)
    server = Server(catalogue, lambda _: Late(), tap=tap)
    return server, await server.start()


async def test_the_same_with_and_without_and_again(tmp_path: Path) -> None:
    trace = Trace(tmp_path / "trace", Redactor())
    plain, bound = await started(None)
    expected = [await talk(each.host, each.port, said) for said in SAID for each in bound]
    await plain.stop()
    traced, bound = await started(lambda inner, number: Tapped(inner, trace, number))
    assert [await talk(each.host, each.port, said) for said in SAID for each in bound] == expected
    assert sum(map(len, expected)) > 2000
    await traced.stop()
    trace.close()
    again, bound = await started(None)
    script = read_script((tmp_path / "trace").read_text(), "trace")
    run = await run_script(script, [(each.host, each.port) for each in bound])
    await again.stop()
    assert run.good, [(pair.line, pair.came, pair.why) for pair in run.differences]


async def test_a_client_that_cuts_and_one_that_stays(tmp_path: Path) -> None:
    trace = Trace(tmp_path / "trace", Redactor())
    server, bound = await started(lambda inner, number: Tapped(inner, trace, number))
    script = read_script("dial a\nsay NOOP\nskip 1\ndial b\nsay NOOP\nskip 1\non a\nreset\nwait 0.05", "x")
    run = await run_script(script, [(each.host, each.port) for each in bound])
    assert run.good
    await asyncio.sleep(0.05)
    await server.stop()
    trace.close()
    lines = (tmp_path / "trace").read_text().splitlines()
    assert lines.count("reset") == 1
    assert lines.count("say NOOP") == 2


async def test_who_says_bye_and_waits(tmp_path: Path) -> None:
    """The gateway hangs up first, and the script says so."""
    trace = Trace(tmp_path / "trace", Redactor())
    server, bound = await started(lambda inner, number: Tapped(inner, trace, number))
    script = read_script("say BYE\nskip 1\nclosed", "x")
    run = await run_script(script, [(each.host, each.port) for each in bound])
    await server.stop()
    trace.close()
    assert run.good
    lines = (tmp_path / "trace").read_text().splitlines()
    assert lines[-4:] == ["say BYE", "hear 221 00000 000 ..", "finish", "closed"]


class Inner(asyncio.Protocol):
    """What is behind a tap, and what it was told."""

    def __init__(self) -> None:
        self.transport: asyncio.Transport
        self.came = b""
        self.told: list[str] = []
        self._news = asyncio.Event()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self._tell("made")

    def data_received(self, data: bytes) -> None:
        self.came += data
        self._news.set()

    def pause_writing(self) -> None:
        self._tell("pause")

    def resume_writing(self) -> None:
        self._tell("resume")

    def connection_lost(self, exc: Exception | None) -> None:
        self._tell("lost")

    def _tell(self, what: str) -> None:
        self.told.append(what)
        self._news.set()

    async def until(self, what: str) -> None:
        """Until it was told that, or those bytes came."""
        async with asyncio.timeout(10):
            while what not in self.told and what.encode() not in self.came:
                self._news.clear()
                await self._news.wait()


async def test_both_sides_can_make_the_other_wait_and_the_gateway_can_cut(tmp_path: Path) -> None:
    """What a transport is asked goes to the real one: asyncio's "Transports and Protocols"."""
    trace, inner = Trace(tmp_path / "trace", Redactor()), Inner()
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: Tapped(inner, trace, 1), "127.0.0.1", 0)
    with socket.socket() as client:
        client.setblocking(False)
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
        await loop.sock_connect(client, server.sockets[0].getsockname())
        await inner.until("made")
        line = inner.transport

        line.pause_reading()
        await loop.sock_sendall(client, b"first")
        await asyncio.sleep(0.05)
        assert inner.came == b"", "the client is not read"
        line.resume_reading()
        await inner.until("first")

        line.set_write_buffer_limits(high=1_000)
        line.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4_096)
        line.write(b"x" * 500_000)
        assert inner.told == ["made", "pause"], "the client has not read"
        left = 500_000
        while left:
            left -= len(await loop.sock_recv(client, left))
        await inner.until("resume")

        line.abort()
        line.write(b"never sent")
        await inner.until("lost")
        assert await loop.sock_recv(client, 1) == b""
    server.close()
    trace.close()
    said = (tmp_path / "trace").read_text()
    assert said.splitlines()[1:3] == ["dial c1", "put first"]
    assert said.count("x") == 500_000
    assert said.splitlines()[-1] == "closed"
    assert "never sent" not in said
