"""Raw streams through a whole gateway: a real client's socket, a real far server's."""

import asyncio
import os
import random
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.service.streams.calls import Call
from gateway.testing.clients.client import Client
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
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
