"""Raw streams through a whole gateway: a real client's socket, a real far server's."""

import asyncio
import os
import random
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import cast

import pytest

from adapters import limits
from adapters.errors import BrokenOff, TooLarge
from gateway.service.clients.sending import Sender
from gateway.service.streams.calls import Call
from gateway.service.streams.piping import Ending, Pipe, Ways
from gateway.service.streams.tally import Tally, Way
from gateway.streams.to_client import RawToClient
from gateway.testing.clients.client import Client
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from gateway.wire.settings import Settings
from tests.gateway.service.streams.far_ends import board, cut, echo, far_end

OVER = b"\r\n226 00000 000 ..\r\n"


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


def gateway_to(stage: Stage, port: int, *lines: str, **settings: float) -> Gateway:
    text = "\n".join(["[place.board]", f'base = "tcp://127.0.0.1:{port}"', *lines])
    return stage.gateways(text, **settings)  # type: ignore[arg-type]


def talking(stage: Stage, gateway: Gateway, words: str = "") -> Client:
    client = stage.clients(gateway, words)
    assert client.ask("TALK board:").status == 200
    return client


def rest(client: Client) -> bytes:
    """What comes until the status line of the end, that left out."""
    heard = b""
    while not heard.endswith(OVER):
        heard += client.read(1)
    return heard.removesuffix(OVER)


def test_a_stream_and_back_to_requests(stage: Stage) -> None:
    with far_end(board) as port:
        client = talking(stage, gateway_to(stage, port, 'lines = "lf"'))
        assert client.read(17) == b"Gruss Gott\r\nname:"
        client.put(b"me\r\n")
        assert client.read(19) == b" you are me\r\nnext: "
        client.put(b"bye\r")
        assert rest(client) == b"so long\r\n"
        assert "SENT     7 bytes" in [each.rstrip() for each in client.ask("WHY").records]
        assert client.ask("NOOP back").records[0].strip() == "back"


def test_leaving(stage: Stage) -> None:
    with far_end(echo) as port:
        client = talking(stage, gateway_to(stage, port, "raw = true"))
        client.put(b"+++")
        assert client.read(3) == b"+++"  # no second of silence before it
        time.sleep(1.1)
        client.put(b"+++\r")
        began = time.monotonic()
        assert rest(client) == b""
        assert 0.8 < time.monotonic() - began < 3
        assert client.ask("NOOP back").records[0].strip() == "back"


def test_leaving_is_told_at_once_whatever_the_far_server_does(stage: Stage) -> None:
    """One that does not mind that its caller has hung up, and one that takes nothing."""

    async def stays(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"x")
        await reader.read()
        await asyncio.sleep(30)

    with far_end(stays) as port:
        client = talking(stage, gateway_to(stage, port, "raw = true"))
        assert client.read(1) == b"x"
        client.put(b"what is said last arrives")
        time.sleep(1.1)
        client.put(b"+++")
        began = time.monotonic()
        assert rest(client) == b""
        assert time.monotonic() - began < 2


def test_what_is_typed_behind_the_end_is_dropped_not_run(stage: Stage) -> None:
    """A far server that has hung up cannot make requests of what its client was about to say to it; what it
    said before is all delivered (CONTRACT section 3), at a pace that leaves time to type.
    """
    said = b"the last words of the evening, slowly shown"

    async def short(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(said)

    with far_end(short) as port:
        client = talking(stage, gateway_to(stage, port), "pace=40")
        heard = client.read(5)
        for _ in range(4):
            client.put(b"NOOP ran\r")
            time.sleep(0.05)
        assert heard + rest(client) == said
        assert client.quiet(0.3)
        assert client.ask("NOOP here").records[0].strip() == "here"


@pytest.mark.parametrize("size", [1, 1_000, 300_000])
def test_every_byte_both_ways_at_once(stage: Stage, size: int) -> None:
    """None lost, doubled or out of order; FFh, CR, LF and CAN are bytes like others."""
    data = random.Random(size).randbytes(size)  # seeded, so that a failure comes again
    with far_end(echo) as port:
        client = talking(stage, gateway_to(stage, port, "raw = true"))
        heard = b""
        for start in range(0, size, 10_000):
            client.put(data[start : start + 10_000])
            heard += client.read(len(data[start : start + 10_000]), timeout=10)
        assert heard == data


def test_a_far_flood_waits_for_a_slow_client(stage: Stage) -> None:
    """A pace of 400 characters a second; the far server is not read faster than that."""
    sent = 0

    async def flood(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal sent
        while True:
            writer.write(b"0123456789" * 1_000)
            await writer.drain()
            sent += 10_000

    with far_end(flood) as port:
        client = talking(stage, gateway_to(stage, port, "raw = true"), "pace=400")
        time.sleep(1.5)
        before = sent
        time.sleep(0.5)
        assert sent == before, "all buffers are full, and nothing more is taken"
        assert sent < 20_000_000
        client.put(b"+++")
        heard = b""
        while not heard.endswith(OVER):
            heard += client.read(1)
        assert len(heard) < 2_500


def test_a_deaf_far_server_holds_back_its_client(stage: Stage) -> None:
    async def deaf(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(30)

    with far_end(deaf) as port:
        gateway = gateway_to(stage, port, "raw = true")
        client = talking(stage, gateway)
        client.timeout = 0.5
        with pytest.raises(AssertionError, match="it is not taken"):
            for _ in range(1_000):
                client.put(os.urandom(100_000))
        client.reset()
        assert stage.clients(gateway).ask("NOOP").status == 200


def test_flow_control_in_a_stream(stage: Stage) -> None:
    with far_end(echo) as port:
        client = talking(stage, gateway_to(stage, port, 'lines = "lf"'), "flow=xon")
        client.put(b"one\r")
        assert client.read(5) == b"one\r\n"
        client.put(b"\x13two\r")
        assert client.quiet(0.3)
        client.put(b"\x11")
        assert client.read(5) == b"two\r\n"


def test_telnet_of_the_clients_own(stage: Stage) -> None:
    with far_end(echo) as port:
        client = talking(stage, gateway_to(stage, port, "raw = true"), "telnet=on")
        client.put(b"a\xff\xff\xff\xfd\x01b")
        heard = client.read(7)
        assert heard.replace(b"\xff\xfc\x01", b"") == b"a\xff\xffb"  # DO ECHO is refused: RFC 854


async def hangs_up_hard(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    writer.write(b"half")
    await writer.drain()
    await asyncio.sleep(0.1)
    cut(writer)


def test_a_far_line_that_breaks(stage: Stage) -> None:
    with far_end(hangs_up_hard) as port:
        client = talking(stage, gateway_to(stage, port))
        assert rest(client) == b"half"
        assert "ENDED    the line broke" in [each.rstrip() for each in client.ask("WHY").records]


def test_a_client_that_drops_its_line(stage: Stage) -> None:
    """The far server's own line ends; one that is only half closed still hears the answer."""
    ended: list[float] = []

    async def watch(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(100):
            writer.write(data.upper())
        ended.append(time.monotonic())

    with far_end(watch) as port:
        gateway = gateway_to(stage, port, "raw = true")
        client = talking(stage, gateway)
        client.put(b"question")
        client.finish()
        assert client.read(8) == b"QUESTION"
        client.close()
        other = talking(stage, gateway)
        other.reset()
        deadline = time.monotonic() + 10
        while len(ended) < 2 and time.monotonic() < deadline:
            time.sleep(0.05)
        assert len(ended) == 2


def test_an_ending_gateway_says_so(stage: Stage) -> None:
    with far_end(echo) as port:
        gateway = gateway_to(stage, port)
        client = talking(stage, gateway)
        client.put(b"abc")
        assert client.read(3) == b"abc"
        gateway.stop()
        assert rest(client) == b""
        assert client.read(16) == b"421 00001 040 .."


def test_idle_streams_are_over(stage: Stage) -> None:
    with far_end(echo) as port:
        text = f'[gateway]\nidle = "1s"\n[place.board]\nbase = "tcp://127.0.0.1:{port}"\n'
        client = talking(stage, stage.gateways(text))
        assert rest(client) == b""
        assert client.read(3) == b"421"


@pytest.mark.parametrize("way", ["say", "hear"])
def test_a_fault_of_our_own_ends_a_stream(stage: Stage, way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its client would wait for ever on a line that is still raw."""

    async def fails(*_: object) -> None:
        await asyncio.sleep(0.01)
        raise RuntimeError("made to fail")

    monkeypatch.setattr(Call, way, fails)
    with far_end(echo) as port:
        client = talking(stage, gateway_to(stage, port, fail_on_errors=False))
        client.put(b"anything\r")
        assert rest(client) == b""
        assert client.ask("NOOP back").records[0].strip() == "back"


# One alone, between a far end and a screen that do as they are told


class Far:
    """The far end of a call. `said` is what came there; more than eight bytes fit into no message."""

    sent = heard = 0

    def __init__(self, *, datagrams: bool = False) -> None:
        self.datagrams = datagrams
        self.said: list[bytes] = []
        self.tells: asyncio.Queue[bytes | None] = asyncio.Queue()
        self.deaf = False
        self.ended = ""

    def count(self, tally: Tally, way: Way) -> None:
        pass

    def facts(self) -> Sequence[tuple[str, str]]:
        return ()

    async def say(self, data: bytes) -> None:
        if self.deaf:
            raise BrokenOff
        if self.datagrams and len(data) > 8:
            raise TooLarge
        self.said.append(data)

    async def hear(self) -> bytes | None:
        return await self.tells.get()

    def leave(self) -> None:
        self.ended = "left"

    def drop(self) -> None:
        self.ended = self.ended or "dropped"


class Screen:
    """Where the client reads; it is gone after `most` pieces."""

    writable = True

    def __init__(self, most: int = 1_000) -> None:
        self.most = most
        self.pieces: list[bytes] = []

    @property
    def open(self) -> bool:
        return len(self.pieces) < self.most

    async def send(self, lines: Iterator[bytes], whole: bool) -> None:
        assert not whole
        self.pieces.append(b"".join(lines))

    def hold(self, held: bool) -> None:
        pass

    def abandon(self) -> None:
        pass


def pipe(far: Far, screen: Screen) -> tuple[Pipe, "asyncio.Task[Ending]"]:
    """A pipe that goes on; nothing is made of its bytes."""
    ways = Ways(RawToClient(Settings()), None, Settings())
    sender = cast(Sender, screen)
    made = Pipe(far, ways, sender, owed=lambda _: None, choke=lambda _: None, heard=lambda: None)
    return made, asyncio.create_task(made.run())


async def test_messages_go_one_by_one_and_only_whole() -> None:
    """What fits into none is left out; a server that has gone ends it (RFC 1122 section 4.1.3.3)."""
    far = Far(datagrams=True)
    made, running = pipe(far, Screen())
    made.feed(b"one\n\nfar too long\nha")
    await asyncio.sleep(0.01)
    assert far.said == [b"one", b""]
    made.feed(b"lf\n")
    await asyncio.sleep(0.01)
    assert far.said == [b"one", b"", b"half"]
    far.deaf = True
    made.feed(b"two\n")
    assert await asyncio.wait_for(running, 5) is Ending.BROKE
    assert far.ended == "dropped"


async def test_pluses_that_are_no_leaving_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "GUARD_SECONDS", 0.05)
    far = Far()
    made, running = pipe(far, Screen())
    await asyncio.sleep(0.06)
    made.feed(b"+")
    made.feed(b"+")
    await asyncio.sleep(0.01)
    assert far.said == []
    await asyncio.sleep(0.1)
    assert far.said == [b"++"]
    made.end(Ending.GATEWAY)
    assert await running is Ending.GATEWAY


async def test_what_comes_behind_the_leaving_before_it_was_seen_are_requests(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(limits, "GUARD_SECONDS", 0.05)
    far = Far()
    made, running = pipe(far, Screen())
    await asyncio.sleep(0.06)
    made.feed(b"+++")
    time.sleep(0.06)  # noqa: ASYNC251 the loop is busy, and its timers are late
    made.feed(b"NOOP\r")
    assert await asyncio.wait_for(running, 5) is Ending.CLIENT
    assert (made.rest, far.said, far.ended) == (b"NOOP\r", [], "left")


async def test_nothing_is_shown_to_who_has_gone() -> None:
    far, screen = Far(), Screen(most=1)
    made, running = pipe(far, screen)
    far.tells.put_nowait(bytes(3 * limits.CHUNK_BYTES))
    await asyncio.sleep(0.01)
    assert [len(each) for each in screen.pieces] == [limits.CHUNK_BYTES]
    made.end(Ending.GATEWAY)
    await running
