"""Programs that know a modem only, through a whole gateway. Commands and results: V.250, from memory."""

import asyncio
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from gateway.catalogue.model import Catalogue, GatewaySettings, Listener, Place, Speaks
from gateway.service.callers.ports import CallPorts
from gateway.service.modems.line import ModemLine
from gateway.service.server import Server
from gateway.service.streams.calls import Call
from gateway.service.streams.tally import Tally
from gateway.session.wishes import Called, Granted, Provenance, Wish
from gateway.testing.clients.line import Line
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from tests.gateway.service.devices.lines import until
from tests.gateway.service.gate import World
from tests.gateway.service.streams.far_ends import board, echo, far_end

PATIENCE = 8.0  # seconds


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


def gateway_to(stage: Stage, port: int, *more: str) -> Gateway:
    text = f"""[[listen]]
port = 1
speaks = "modem"
[place.board]
base = "tcp://127.0.0.1:{port}"
{chr(10).join(more)}
[place.shelf]
base = "http://127.0.0.1:{port}/"
[phone.5550100]
dial = "board"
"""
    return stage.gateways(text, log="info")


class Program:
    """What an old communication program does: it types, and waits for what it knows."""

    def __init__(self, gateway: Gateway) -> None:
        self.line = Line(gateway.host, gateway.port, PATIENCE)

    def type(self, data: bytes) -> None:
        self.line.send(data, PATIENCE)

    def wait_for(self, wanted: bytes) -> bytes:
        """All up to what is wanted, that included."""
        return self.line.take_until(wanted, time.monotonic() + PATIENCE) + wanted

    def command(self, line: bytes, result: bytes) -> bytes:
        self.type(line + b"\r")
        return self.wait_for(b"\r\n" + result + b"\r\n")


@pytest.fixture
def program(stage: Stage) -> Iterator[Program]:
    with far_end(board) as port:
        made = Program(gateway_to(stage, port))
        yield made
        made.line.close()


def test_commands(program: Program) -> None:
    assert program.command(b"AT", b"OK") == b"AT\r\r\nOK\r\n"
    assert program.command(b"ATE0", b"OK").startswith(b"ATE0\r")
    assert program.command(b"ATS0=2S0?", b"OK") == b"\r\n002\r\n\r\nOK\r\n"
    assert program.command(b"AT+NONE", b"ERROR") == b"\r\nERROR\r\n"
    program.type(b"ATV0\r")
    assert program.wait_for(b"0\r") == b"0\r"


@pytest.mark.parametrize("dial", [b"ATDboard", b"ATDTBoard", b"ATDP 555-0100", b"atdt5550100", b"ATD,board:"])
def test_a_call_by_name_and_by_number(program: Program, dial: bytes) -> None:
    if b"," in dial:
        program.command(b"ATS8=1", b"OK")
    program.command(dial, b"CONNECT 9600")
    assert program.wait_for(b"name: ") == "Grüß Gott\nname: ".encode()
    program.type(b"me\n")
    assert program.wait_for(b"next: ") == b"you are me\nnext: "
    program.type(b"bye\n")
    assert program.wait_for(b"NO CARRIER\r\n") == b"so long\n\r\nNO CARRIER\r\n"
    assert program.command(b"AT", b"OK") == b"AT\r\r\nOK\r\n"


@pytest.mark.parametrize("dial", [b"ATDnobody", b"ATD5550199", b"ATDshelf:80", b"ATD192.0.2.1:23", b"ATDT"])
def test_a_dial_that_leads_nowhere_is_no_carrier(program: Program, dial: bytes) -> None:
    """Nothing is sent to the address, which no catalogue allows."""
    assert program.command(dial, b"NO CARRIER").endswith(b"\r\r\nNO CARRIER\r\n")


def test_a_far_server_that_is_not_there(stage: Stage) -> None:
    with far_end(board) as port:
        pass
    gateway = gateway_to(stage, port)
    program = Program(gateway)
    program.command(b"ATDboard", b"NO CARRIER")
    program.command(b"ATDnosuch", b"NO CARRIER")
    refused, nosuch = (line for line in gateway.log if "dialled=" in line)
    assert "dialled='board' code=425 why=" in refused
    assert "The far server refuses to connect: [Errno 111] " in refused
    assert "dialled='nosuch' code=550 why='No place NOSUCH'" in nosuch
    assert "Traceback" not in refused + nosuch
    program.line.close()


@pytest.mark.parametrize("way", ["say", "hear"])
def test_a_fault_of_our_own_ends_the_line(stage: Stage, way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that hears nothing, and whose words go nowhere, would wait for ever."""

    async def fails(*_: object) -> None:
        await asyncio.sleep(0.1)
        raise RuntimeError("made to fail")

    monkeypatch.setattr(Call, way, fails)
    with far_end(echo) as port:
        gateway = gateway_to(stage, port)
        program = Program(gateway)
        program.type(b"ATDboard\r")
        program.wait_for(b"CONNECT")
        program.type(b"anything\r")
        assert program.line.ended(time.monotonic() + PATIENCE)
        program.line.close()
        assert "a modem's line failed" in gateway.errors[0]
        gateway._log.errors.clear()


def test_leaving_the_data_and_hanging_up(stage: Stage) -> None:
    with far_end(echo) as port:
        gateway = gateway_to(stage, port)
        program = Program(gateway)
        program.command(b"ATDboard", b"CONNECT 9600")
        program.type(b"abc")
        assert program.wait_for(b"c") == b"abc"
        time.sleep(1.1)
        program.type(b"+++")
        assert program.wait_for(b"OK\r\n") == b"\r\nOK\r\n"
        assert program.command(b"ATO", b"CONNECT 9600") == b"ATO\r\r\nCONNECT 9600\r\n"
        program.type(b"d")
        assert program.wait_for(b"d") == b"d"
        time.sleep(1.1)
        program.type(b"+++")
        program.wait_for(b"OK\r\n")
        program.command(b"ATH", b"OK")
        assert any("hung up sent=4 heard=4" in line for line in gateway.log)
        program.line.close()


def test_anything_typed_ends_a_dial(stage: Stage) -> None:
    with far_end(board) as port:
        gateway = gateway_to(stage, port)
        program = Program(gateway)
        program.type(b"ATD,,,board\r")
        program.wait_for(b"\r")
        time.sleep(0.3)
        program.type(b"x")
        program.wait_for(b"NO CARRIER\r\n")
        assert not any("connected" in line for line in gateway.log)
        program.line.close()


def test_line_ends_where_the_place_tells_its_own(stage: Stage) -> None:
    with far_end(board) as port:
        program = Program(gateway_to(stage, port, 'lines = "lf"'))
        program.command(b"ATDboard", b"CONNECT 9600")
        assert program.wait_for(b"name: ") == b"Gruss Gott\r\nname: "
        program.type(b"me\r")
        assert program.wait_for(b"next: ") == b"you are me\r\nnext: "
        program.line.close()


def test_every_byte_both_ways(stage: Stage) -> None:
    """But for the silence of +++, a call is no modem's business: all 256 bytes, in order."""
    with far_end(echo) as port:
        program = Program(gateway_to(stage, port))
        program.command(b"ATDboard", b"CONNECT 9600")
        data = bytes(range(256)) * 400
        for start in range(0, len(data), 8_192):
            program.type(data[start : start + 8_192])
            part = data[start : start + 8_192]
            assert program.line.take(len(part), time.monotonic() + PATIENCE) == part
        program.line.close()


def test_a_program_that_drops_its_line_drops_its_call(stage: Stage) -> None:
    ended: list[bytes] = []

    async def watch(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        ended.append(await reader.read())

    with far_end(watch) as port:
        program = Program(gateway_to(stage, port))
        program.command(b"ATDboard", b"CONNECT 9600")
        program.line.close()
        until = time.monotonic() + PATIENCE
        while not ended and time.monotonic() < until:
            time.sleep(0.02)
        assert ended == [b""]


def test_an_ending_gateway_drops_the_call(stage: Stage) -> None:
    with far_end(echo) as port:
        gateway = gateway_to(stage, port)
        program = Program(gateway)
        program.command(b"ATDboard", b"CONNECT 9600")
        gateway.stop()
        assert program.wait_for(b"NO CARRIER\r\n") == b"\r\nNO CARRIER\r\n"
        assert program.line.ended(time.monotonic() + PATIENCE)
        program.line.close()


def test_the_listeners_pace_counts(stage: Stage) -> None:
    """200 characters a second: the 16 that echo and CONNECT take, and the 100 behind them, half a second."""

    async def hundred(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"x" * 100)
        await reader.read()

    with far_end(hundred) as port:
        text = f"""[[listen]]
port = 1
speaks = "modem"
profile = "slow"
[profile.slow]
pace = 200
[place.board]
base = "tcp://127.0.0.1:{port}"
"""
        program = Program(stage.gateways(text))
        began = time.monotonic()
        program.command(b"ATDboard", b"CONNECT 9600")
        assert program.wait_for(b"x" * 100) == b"x" * 100
        assert time.monotonic() - began >= 0.5
        program.line.close()


def test_the_data_of_a_flood_are_left_at_once(stage: Stage) -> None:
    """240 characters a second: what has been taken of the flood is shown first, but that is not much."""

    async def flood(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            writer.write(b"0123456789abcdef" * 1_000)
            await writer.drain()

    with far_end(flood) as port:
        text = f"""[[listen]]
port = 1
speaks = "modem"
profile = "slow"
[profile.slow]
pace = 240
[place.board]
base = "tcp://127.0.0.1:{port}"
"""
        program = Program(stage.gateways(text))
        program.command(b"ATDboard", b"CONNECT 9600")
        time.sleep(1.1)
        program.type(b"+++")
        shown = program.wait_for(b"\r\nOK\r\n").removesuffix(b"\r\nOK\r\n")
        assert len(shown) > 240
        program.command(b"ATO", b"CONNECT 9600")
        shown += program.wait_for(b"0123456789abcdef")
        assert (b"0123456789abcdef" * 1_000).startswith(shown)  # nothing is lost meanwhile
        program.line.close()


@pytest.mark.parametrize(
    ("settings", "typed", "comes_back"),
    [
        (
            'telnet = "on"',
            b"a\xff\xff\xff\xfd\x03b",
            b"a\xff\xff\xff\xfc\x03b",
        ),  # DO SGA is refused (RFC 854)
        ("bits = 7", b"a\xe2c", b"abc"),
    ],
)
def test_what_the_profile_says_of_the_line_holds_both_ways(
    stage: Stage, settings: str, typed: bytes, comes_back: bytes
) -> None:
    """Commands and data alike; the far end has what was meant."""
    heard: list[bytes] = []

    async def noting(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(1_000):
            heard.append(data)
            writer.write(data)

    with far_end(noting) as port:
        text = f"""[[listen]]
port = 1
speaks = "modem"
profile = "line"
[profile.line]
{settings}
[place.board]
base = "tcp://127.0.0.1:{port}"
"""
        program = Program(stage.gateways(text))
        program.type(b"AT\xc4board\r" if "7" in settings else b"ATDbo\xff\xfb\x18ard\r")
        program.wait_for(b"CONNECT 9600\r\n")
        program.type(typed)
        got = program.line.take(len(comes_back), time.monotonic() + PATIENCE)
        assert sorted(got) == sorted(comes_back)  # a refusal goes ahead of what the far end answers
        assert b"".join(heard) == (b"abc" if "7" in settings else b"a\xffb")
        program.line.close()


def test_a_program_that_reads_no_results_is_read_no_further(stage: Stage) -> None:
    """30 characters a second, and each command's result is longer than the command."""
    text = '[[listen]]\nport = 1\nspeaks = "modem"\nprofile = "slow"\n[profile.slow]\npace = 30\n'
    program = Program(stage.gateways(text))
    with pytest.raises(TimeoutError):
        for _ in range(2_000):
            program.line.send(b"ATI\r" * 4_000, 3.0)
    program.line.close()


@pytest.mark.parametrize("pause", [0, 1])
def test_a_flood_is_read_to_its_end_by_and_by(stage: Stage, pause: int) -> None:
    program = Program(stage.gateways('[[listen]]\nport = 1\nspeaks = "modem"\n'))
    program.command(b"ATE0", b"OK")
    program.type(b"AT\r" * 20_000)
    time.sleep(pause)
    for _ in range(20_000):
        assert program.wait_for(b"OK\r\n") == b"\r\nOK\r\n"
    program.command(b"ATE1", b"OK")
    program.line.close()


class Unread(asyncio.Transport):
    """A line whose program reads nothing: what is written stays, and so it does not close by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.written, self.aborted = bytearray(), asyncio.Event()
        self._closing = False

    def write(self, data: bytes | bytearray | memoryview) -> None:
        self.written += data

    def close(self) -> None:
        self._closing = True

    def abort(self) -> None:
        self.aborted.set()

    def is_closing(self) -> bool:
        return self._closing

    def set_write_buffer_limits(self, high: int | None = None, low: int | None = None) -> None:
        pass


async def test_an_idle_program_that_reads_nothing_is_cut_off() -> None:
    """However often it is told to go; it has `stall` seconds to take what is still to be read."""
    catalogue = Catalogue(GatewaySettings(stall=1), listeners=(Listener(port=0),))
    server = Server(catalogue, lambda _: World())
    ports = CallPorts(lambda: catalogue, Tally())
    line = ModemLine(server, lambda: catalogue, World(), lambda: Listener(speaks=Speaks.MODEM), ports)
    transport = Unread()
    await server.start()
    line.connection_made(transport)
    assert server.clients == 1
    for _ in range(3):
        line.turn_away("Nothing came for too long")
    assert not transport.aborted.is_set()
    async with asyncio.timeout(5):
        await transport.aborted.wait()
    assert transport.written == b""
    line.connection_lost(None)
    assert server.clients == 0
    await server.stop()


# One alone, whose far end does as it is told


class Taking(Unread):
    """A line whose program reads what is written."""

    def pause_reading(self) -> None:
        pass

    def resume_reading(self) -> None:
        pass

    def get_write_buffer_size(self) -> int:
        return 0


class FarEnd(World):
    """Grants a call to a far end that says `text` and nothing more; without, no call ever comes about."""

    origin = "tcp://far.example:7"
    datagrams = False

    def __init__(self, text: bytes = b"") -> None:
        super().__init__()
        self.text = text
        self.aborted = False

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        if not self.text:
            return await super().answer(wish, seconds)
        return Called(Call(self), Provenance(self.origin, "stream"))

    async def receive(self) -> bytes | None:
        text, self.text = self.text, b""
        if not text:
            await asyncio.Event().wait()
        return text

    async def send(self, data: bytes) -> None:
        pass

    async def aclose(self) -> None:
        self.aborted = True

    def abort(self) -> None:
        self.aborted = True


@asynccontextmanager
async def alone(far: FarEnd) -> AsyncIterator[tuple[ModemLine, Taking]]:
    place = Place("FAR", FarEnd.origin)
    catalogue = Catalogue(listeners=(Listener(port=0),), places={"FAR": place})
    server = Server(catalogue, lambda _: far)
    ports = CallPorts(lambda: catalogue, Tally())
    line = ModemLine(server, lambda: catalogue, far, lambda: Listener(speaks=Speaks.MODEM), ports)
    transport = Taking()
    await server.start()
    line.connection_made(transport)
    line.data_received(b"ATE0\r")
    await until(lambda: transport.written.endswith(b"OK\r\n"))
    transport.written.clear()
    try:
        yield line, transport
    finally:
        line.connection_lost(None)
        await server.stop()


async def test_who_rang_has_gone_just_before_the_answer() -> None:
    async with alone(FarEnd()) as (line, transport):
        assert line.ring()
        line.data_received(b"ATA\r")
        await until(lambda: transport.written.endswith(b"\r\nNO CARRIER\r\n"))
        assert transport.written.startswith(b"\r\nRING\r\n")


async def test_a_line_that_is_lost_while_it_dials_ends_the_try() -> None:
    far = FarEnd()
    async with alone(far) as (line, transport):
        line.data_received(b"ATDfar\r")
        await far.begun.wait()
        assert line.seat is None
        line.connection_lost(None)
        line.abort()  # there is nothing to cut any more
        await line.gone()
        await until(lambda: far.cancelled == 1)
        assert not transport.aborted.is_set()


async def test_a_program_that_leaves_in_the_middle_of_a_text_sees_no_more_of_it() -> None:
    """It drops its DTR (AT&D2: V.250 section 6.2.9, from memory), and has not read for a while."""
    far = FarEnd(b"x" * 20_000)
    async with alone(far) as (line, transport):
        line.data_received(b"AT&D2\r")
        await until(lambda: transport.written == b"\r\nOK\r\n")
        line.pause_writing()
        line.data_received(b"ATDfar\r")
        await until(lambda: far.text == b"")
        await asyncio.sleep(0.01)
        line._ready(False)
        assert far.aborted is False
        line.resume_writing()
        await until(lambda: transport.written.endswith(b"\r\nNO CARRIER\r\n"))
        assert transport.written.count(b"x") < 2_000
        await until(lambda: far.aborted)


async def test_nothing_is_shown_on_a_line_that_closes() -> None:
    async with alone(FarEnd()) as (line, transport):
        transport.close()
        line.data_received(b"AT\r")
        await asyncio.sleep(0.02)
        assert transport.written == b""


async def test_a_fault_of_our_own_cuts_the_line_if_it_is_there(caplog: pytest.LogCaptureFixture) -> None:
    async def fails() -> None:
        raise RuntimeError("made to fail")

    async with alone(FarEnd()) as (line, transport):
        line._begin(fails())
        await asyncio.wait_for(transport.aborted.wait(), 5)
        failing = line._begin(fails())
        transport.aborted.clear()
        line._transport = None  # it was lost in the same moment
        await asyncio.wait({failing})
        await asyncio.sleep(0)
        assert not transport.aborted.is_set()
    assert caplog.text.count("a modem's line failed") == 2
