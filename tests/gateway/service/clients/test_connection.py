"""One client over a real loopback socket, with a stand-in for what grants the session's wishes."""

import asyncio
import json
import re
import socket
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import FarBusy
from gateway.catalogue.model import Catalogue, GatewaySettings, Listener, Source
from gateway.extract.plan import Field, Plan, Record, Sheet
from gateway.service.clients.connection import Connection
from gateway.service.server import Server
from gateway.session.wishes import Outcome, PickWish, SourceWish, Wish
from tests.gateway.talking import replies, talk

CASES = Path(__file__).parents[3] / "cases"
PLAN = Plan(fields=(Field("N", 8),))
SOURCES = MappingProxyType(
    {
        "QUICK": Source("QUICK", "https://far.example/", PLAN),
        "SLOW": Source("SLOW", "https://far.example/", PLAN),
        "LONG": Source("LONG", "https://far.example/", PLAN),
        "BROKEN": Source("BROKEN", "https://far.example/", PLAN),
        "BUSY": Source("BUSY", "https://far.example/", PLAN),
        "FULL": Source("FULL", "https://far.example/", PLAN),
    }
)


def outcome(count: int) -> Outcome:
    records = tuple(Record(f"{number:08}") for number in range(count))
    return Outcome(Sheet(8, records), "https://far.example", "fetched", 0.0, False, ())


class Stand:
    """Grants wishes by the source's name; counts what is under way."""

    def __init__(self) -> None:
        self.running = 0
        self.cancelled = 0
        self.begun = asyncio.Event()
        self.release = asyncio.Event()

    def now(self, wish: Wish) -> Outcome | None:
        quick = isinstance(wish, PickWish) or (isinstance(wish, SourceWish) and wish.source.name == "QUICK")
        return outcome(1) if quick else None

    async def answer(self, wish: Wish, seconds: float) -> Outcome:
        assert isinstance(wish, SourceWish)
        self.running += 1
        try:
            match wish.source.name:
                case "LONG":
                    return outcome(20_000)
                case "FULL":
                    return outcome(99_999)
                case "BUSY":
                    raise FarBusy(seconds=7)
                case "BROKEN":
                    raise ZeroDivisionError
            self.begun.set()
            await self.release.wait()
            return outcome(2)
        except asyncio.CancelledError:
            self.cancelled += 1
            raise
        finally:
            self.running -= 1


@asynccontextmanager
async def gateway(
    stand: Stand | None = None, listener: Listener | None = None, **gateway_settings: float
) -> AsyncIterator[tuple[Server, str, int]]:
    catalogue = Catalogue(
        gateway=replace(GatewaySettings(), **gateway_settings),  # type: ignore[arg-type]
        listeners=(listener or Listener(port=0),),
        sources=SOURCES,
    )
    server = Server(catalogue, lambda _: stand or Stand())
    bound = (await server.start())[0]
    try:
        yield server, bound.host, bound.port
    finally:
        await server.stop()


def cut(writer: asyncio.StreamWriter) -> None:
    """Lose the line: a reset, not an orderly end."""
    raw = writer.get_extra_info("socket")
    raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()


async def test_a_request_and_its_reply() -> None:
    async with gateway() as (_, host, port):
        assert await talk(host, port, b"ASK quick\r\n") == b"200 00001 008 ..\r\n00000000\r\n"


async def test_case_pipelined_then_half_closed() -> None:
    script = json.loads((CASES / "tcp-pipelined-and-half-close/script.json").read_text())
    data = bytes.fromhex(script[0]["send_hex"]).replace(b"PING", b"NOOP")
    async with gateway() as (_, host, port):
        found = replies(await talk(host, port, data))
    assert [records[0].rstrip() for _, records in found] == [b"1", b"2"]


async def test_half_closed_while_the_far_server_is_slow() -> None:
    stand = Stand()
    async with gateway(stand) as (_, host, port):
        asyncio.get_running_loop().call_later(0.3, stand.release.set)
        found = replies(await talk(host, port, b"ASK slow\rNOOP 2\rNOOP never ended"))
    assert [(status[:9], len(records)) for status, records in found] == [("200 00002", 2), ("200 00001", 1)]


async def test_many_bytes_that_make_no_event_lose_nothing_behind_them() -> None:
    flood = b"\x08" * 5 * limits.READER_STEPS
    async with gateway() as (_, host, port):
        found = replies(await talk(host, port, flood + b"NOOP 1\r" + flood + b"NOOP 2\r" + flood))
    assert [records[0].rstrip() for _, records in found] == [b"1", b"2"]


async def test_a_bare_cr_is_answered_at_once() -> None:
    async with gateway() as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"NOOP a\r")
        assert await asyncio.wait_for(reader.readexactly(16), 0.4) == b"200 00001 040 .."
        writer.close()
        await writer.wait_closed()


async def test_9b_is_answered_in_9b_until_eol_is_set() -> None:
    async with gateway() as (_, host, port):
        assert await talk(host, port, b"BASE\x9b") == (await talk(host, port, b"BASE\r")).replace(
            b"\r\n", b"\x9b"
        )
        assert (await talk(host, port, b"SET eol=lf\x9bASK quick\x9b")).endswith(b"..\n00000000\n")


async def test_telnet_is_refused_on_the_wire() -> None:
    async with gateway() as (_, host, port):
        answer = await talk(host, port, b"\xff\xfb\x1f\xff\xfd\x03ASK quick\r\0")
    assert answer == b"\xff\xfe\x1f\xff\xfc\x03200 00001 008 ..\r\n00000000\r\n"


async def test_faults_are_replies() -> None:
    async with gateway() as (_, host, port):
        found = replies(await talk(host, port, b"ASK broken\rASK busy\rASK nothing\rNOOP on\r"))
    assert [status[:3] for status, _ in found] == ["451", "450", "550", "200"]
    assert found[1][1][0].endswith(b" 7")


async def test_a_far_server_that_never_answers_is_420_in_time() -> None:
    stand = Stand()
    async with gateway(stand, wait=0.2) as (_, host, port):
        loop = asyncio.get_running_loop()
        started = loop.time()
        found = replies(await talk(host, port, b"ASK slow\r"))
        assert loop.time() - started < 1
    assert found[0][0][:3] == "420"
    assert (stand.running, stand.cancelled) == (0, 1)


async def test_cancel_abandons_a_request_without_a_reply() -> None:
    stand = Stand()
    async with gateway(stand) as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"ASK slow\r")
        await asyncio.wait_for(stand.begun.wait(), 2)
        writer.write(b"half a line\x18NOOP sync\r")
        assert (await asyncio.wait_for(reader.readexactly(34), 2))[18:22] == b"sync"
        assert (stand.running, stand.cancelled) == (0, 1)
        writer.close()
        await writer.wait_closed()


@pytest.mark.parametrize("queued", [b"", b"NOOP a\rASK slow\r", b"NOOP \xff\xfc\x18a\r"])
async def test_cancel_abandons_all_that_is_not_answered_yet(queued: bytes) -> None:
    """However it was cut: in one segment with its request, or behind a whole group."""
    stand = Stand()
    async with gateway(stand) as (_, host, port):
        answer = await talk(host, port, b"ASK slow\r" + queued + b"half\x18NOOP sync\r")
        found = replies(answer)
        assert [records[0].rstrip() for _, records in found] == [b"sync"]
        stand.release.set()
    assert not stand.running


async def test_why_tells_that_a_request_was_abandoned() -> None:
    stand = Stand()
    async with gateway(stand) as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"ASK slow\r")
        await asyncio.wait_for(stand.begun.wait(), 2)
        writer.write(b"\x18WHY\r")
        writer.write_eof()
        found = replies(await asyncio.wait_for(reader.read(), 5))
        writer.close()
        await writer.wait_closed()
    told = [record.rstrip() for record in found[0][1]]
    assert told[0] == b"REQUEST  ASK slow"
    assert told[2].startswith(b"ERROR    Abandoned")


async def test_stop_loses_nothing_of_a_reply_that_a_slow_client_reads() -> None:
    async with gateway() as (server, host, port):
        reader, writer = await asyncio.open_connection(host, port, limit=1024)
        writer.write(b"ASK long\r")
        start = await reader.readexactly(4_000)
        stopping = asyncio.create_task(server.stop())
        rest = b""
        while part := await reader.read(4_096):
            rest += part
            await asyncio.sleep(0.001)
        writer.close()
        await writer.wait_closed()
        await asyncio.wait_for(stopping, 10)
    found = replies(start + rest)
    assert [(status[:9], len(records)) for status, records in found] == [
        ("200 20000", 20_000),
        ("421 00001", 1),
    ]


async def test_a_reset_client_is_not_served_on(caplog: pytest.LogCaptureFixture) -> None:
    async with gateway() as (server, host, port):
        for _ in range(3):
            _, writer = await asyncio.open_connection(host, port)
            writer.write(b"NOOP\r" * 40_000)
            await writer.drain()
            cut(writer)
        for _ in range(200):
            if not server.clients:
                break
            await asyncio.sleep(0.02)
        assert server.clients == 0
    assert "socket.send() raised" not in caplog.text


@pytest.mark.parametrize(
    "flood",
    [
        *(b"HELP\r" * 30_000, b"\r" * 1_000_000, b">\r" * 500_000, b"\x18" * 500_000),
        *(b"\xff\xfd\x01" * 100_000, b"\xff\xf1" * 500_000, b"\x08" * 1_000_000, b"\0" * 1_000_000),
    ],
)
async def test_no_client_keeps_the_loop_from_the_others(flood: bytes) -> None:
    async with gateway() as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        other_reader, other_writer = await asyncio.open_connection(host, port)
        loop, worst = asyncio.get_running_loop(), 0.0
        writer.write(flood)
        reading = asyncio.create_task(reader.read(50_000_000))
        for _ in range(100):
            started = loop.time()
            other_writer.write(b"NOOP\r")
            await other_reader.readexactly(18)
            worst = max(worst, loop.time() - started)
        assert worst < 0.5
        reading.cancel()
        for each in (writer, other_writer):
            cut(each)


async def test_a_client_that_was_reading_is_not_idle() -> None:
    stand = Stand()
    async with gateway(stand, idle=1.2) as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"ASK slow\r")
        await asyncio.sleep(1.6)
        stand.release.set()
        assert (await reader.readexactly(38))[:3] == b"200"
        await asyncio.sleep(0.7)
        writer.write(b"NOOP\r")
        assert (await reader.readexactly(18))[:3] == b"200"
        writer.close()
        await writer.wait_closed()


@pytest.mark.parametrize("quick", [True, False])
async def test_only_a_client_that_reads_quickly_gets_large_buffers(quick: bool) -> None:
    async with gateway() as (server, host, port):
        with socket.socket() as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 16_384)
            await asyncio.to_thread(line.connect, (host, port))
            line.sendall(b"ASK long\r" * 2)
            wanted = 2 * (18 + 20_000 * 10)
            while wanted > 0:
                wanted -= len(await asyncio.to_thread(line.recv, 16_384))
                await asyncio.sleep(0 if quick else 0.1)  # at most 164 kB/s
            (connection,) = server.admission.here
            assert isinstance(connection, Connection)
            assert connection._transport is not None
            given = connection._transport.get_extra_info("socket")
            assert (given.getsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF) >= 65_536) == quick


async def test_clients_that_were_turned_away_do_not_pile_up() -> None:
    async with gateway(clients=1) as (server, host, port):
        held = [await asyncio.open_connection(host, port) for _ in range(limits.TURNED_AWAY + 30)]
        await asyncio.sleep(0.1)
        assert server.leaving <= limits.TURNED_AWAY + 1
        for _, writer in held:
            writer.close()
        await asyncio.gather(*(writer.wait_closed() for _, writer in held), return_exceptions=True)


async def test_cancel_stops_a_reply_at_a_line_end() -> None:
    async with gateway() as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port, limit=1024)
        writer.write(b"ASK long\r")
        await reader.readexactly(18)
        writer.write(b"\x18NOOP sync\r")
        writer.write_eof()
        rest = await asyncio.wait_for(reader.read(), 10)
        writer.close()
        await writer.wait_closed()
    body, found = rest[: rest.index(b"200 ")], rest[rest.index(b"200 ") :]
    assert len(body) % 10 == 0
    assert len(body) < 200_000
    assert replies(found)[0][1][0].rstrip() == b"sync"


async def test_bye_closes() -> None:
    async with gateway() as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"BYE\rNOOP never\r")
        assert await asyncio.wait_for(reader.read(), 2) == b"221 00000 000 ..\r\n"
        writer.close()
        await writer.wait_closed()


async def test_greeting_only_where_the_listener_says_so() -> None:
    async with gateway(listener=Listener(port=0, greeting=True)) as (_, host, port):
        status, records = replies(await talk(host, port, b""))[0]
    assert status == "220 00001 040 .."
    assert records[0].startswith(b"HEADRACE 1 ")


async def test_one_client_too_many_gets_421_and_the_others_go_on() -> None:
    async with gateway(clients=2) as (_, host, port):
        held = [await asyncio.open_connection(host, port) for _ in range(2)]
        for reader, writer in held:
            writer.write(b"NOOP\r")
            await reader.readexactly(18)
        loop = asyncio.get_running_loop()
        started = loop.time()
        found = replies(await talk(host, port, b"NOOP\r"))
        assert loop.time() - started < 0.5
        assert [status for status, _ in found] == ["421 00001 040 .."]
        held[0][1].close()
        await held[0][1].wait_closed()
        await asyncio.sleep(0.05)
        assert replies(await talk(host, port, b"NOOP\r"))[0][0] == "200 00000 000 .."
        held[1][1].close()
        await held[1][1].wait_closed()


async def test_one_client_too_many_is_told_before_any_worker_has_its_turn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where two hundred ask at once, each turn of the loop takes a while."""

    async def never(_: Connection) -> None:
        await asyncio.sleep(60)

    async with gateway(clients=1) as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"NOOP\r")
        await reader.readexactly(18)
        with monkeypatch.context() as patch:
            patch.setattr(Connection, "_work", never)
            assert replies(await talk(host, port, b"NOOP\r"))[0][0] == "421 00001 040 .."
        writer.close()
        await writer.wait_closed()


async def test_an_idle_client_is_told_and_let_go() -> None:
    async with gateway(idle=0.1) as (_, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        answer = await asyncio.wait_for(reader.read(), 5)
        assert replies(answer)[0][0] == "421 00001 040 .."
        writer.close()
        await writer.wait_closed()


async def test_a_client_that_reads_nothing_is_cut_off_and_holds_up_nobody() -> None:
    async with gateway(stall=0.3) as (server, host, port):
        raw = socket.socket()
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
        raw.setblocking(False)
        loop = asyncio.get_running_loop()
        await loop.sock_connect(raw, (host, port))
        await loop.sock_sendall(raw, b"ASK long\r" * 50)
        await asyncio.sleep(0.1)
        started = loop.time()
        assert len(replies(await talk(host, port, b"ASK quick\r"))) == 1
        assert loop.time() - started < 0.2
        for _ in range(40):
            if not server.clients:
                break
            await asyncio.sleep(0.05)
        assert server.clients == 0
        raw.close()


async def test_a_flood_of_input_stops_being_read() -> None:
    stand = Stand()
    async with gateway(stand) as (_, host, port):
        _, writer = await asyncio.open_connection(host, port)
        writer.write(b"ASK slow\r" + b"NOOP x\r" * 4_000_000)
        await asyncio.sleep(0.3)
        assert writer.transport.get_write_buffer_size() > limits.PIPELINE_BYTES  # still on the sender's side
        cut(writer)
        stand.release.set()


async def test_stop_finishes_replies_in_flight_and_refuses_new_work() -> None:
    stand = Stand()
    async with gateway(stand) as (server, host, port):
        busy, idle = await asyncio.open_connection(host, port), await asyncio.open_connection(host, port)
        busy[1].write(b"ASK slow\rNOOP later\r")
        idle[1].write(b"NOOP\r")
        await idle[0].readexactly(18)
        await asyncio.wait_for(stand.begun.wait(), 2)
        stopping = asyncio.create_task(server.stop())
        assert replies(await asyncio.wait_for(idle[0].read(), 2))[0][0][:3] == "421"
        stand.release.set()
        found = replies(await asyncio.wait_for(busy[0].read(), 2))
        assert [status[:3] for status, _ in found] == ["200", "421"]
        await asyncio.wait_for(stopping, 5)
        with pytest.raises(OSError, match="failed"):
            await asyncio.open_connection(host, port)
        for _, writer in (busy, idle):
            writer.close()
            await writer.wait_closed()


async def test_who_is_turned_away_while_refusals_are_owed_gets_one_goodbye(
    caplog: pytest.LogCaptureFixture,
) -> None:
    async with gateway() as (server, host, port):
        reader, writer = await asyncio.open_connection(host, port, limit=1_024)
        writer.write(b"\xff\xfd\x01" * 100_000)  # telnet options (RFC 854), refused one by one
        await asyncio.sleep(0.3)
        for connection in list(server.admission.here):
            assert isinstance(connection, Connection)
            assert not connection.busy
            connection.turn_away("The gateway is going down")
        answer = await asyncio.wait_for(reader.read(), 10)
        assert answer.count(b"421 00001 040 ..\r\n") == 1
        cut(writer)
    assert not caplog.records


async def test_a_lost_line_cancels_its_request() -> None:
    stand = Stand()
    async with gateway(stand) as (server, host, port):
        _, writer = await asyncio.open_connection(host, port)
        writer.write(b"ASK slow\r")
        await asyncio.wait_for(stand.begun.wait(), 2)
        cut(writer)
        for _ in range(100):
            if not server.clients and not stand.running:
                break
            await asyncio.sleep(0.01)
        assert (server.clients, stand.running, stand.cancelled) == (0, 0, 1)


async def test_reload_gives_the_next_request_the_new_catalogue() -> None:
    async with gateway() as (server, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"ASK fresh\r")
        assert (await reader.readexactly(60))[:3] == b"550"
        fresh = {"FRESH": replace(SOURCES["QUICK"])}
        catalogue = Catalogue(listeners=(Listener(port=0),), sources=MappingProxyType(fresh))
        assert await server.reload(catalogue) == []
        writer.write(b"LAYOUT fresh\r")
        assert (await reader.readexactly(16))[:3] == b"200"
        writer.close()
        await writer.wait_closed()


ANY_BYTES = st.lists(
    st.one_of(
        st.binary(max_size=8),
        st.sampled_from(
            [
                b"ASK quick\r",
                b"NOOP word\n",
                b"SET cols=20 mark=on\r\n",
                b"PICK a b\x9b",
                b"LAY QUI\r",
                b"TIME\r",
            ]
        ),
        st.sampled_from(
            [b"\xff\xfb\x01", b"HELP\r", b"WHY\r", b"AGAIN 1\r", b"? SET\r", b">data\r", b"\x08", b"Z" * 300]
        ),
    ),
    max_size=20,
).map(b"".join)


def well_formed(data: bytes) -> int:
    """How many replies there are, each in the contract's shape; whatever else stands between is refused."""
    count = 0
    while data:
        refusals = re.match(rb"(\xff[\xfc\xfe].)+", data, re.DOTALL)
        if refusals:
            data = data[refusals.end() :]
            continue
        status = re.match(rb"([0-9]{3}) ([0-9]{5}) ([0-9]{3}) [+.][*SLC.](\r\n|\x9b)", data)
        assert status, data[:40]
        data = data[status.end() :]
        for _ in range(int(status[2])):
            record = re.compile(rb"[ -~]{%d}(\r\n|\x9b)" % int(status[3])).match(data)
            assert record, data[:80]
            data = data[record.end() :]
        count += 1
    return count


@settings(max_examples=150, deadline=None)
@given(ANY_BYTES)
@example(b"\xff\xfa\xff")  # a telnet block (RFC 855) that is not ended, nor would be by an FFh more
def test_any_bytes_in_give_well_formed_replies_out(data: bytes) -> None:
    """And never a dropped connection: the request after them is answered. (Not where it comes together with
    a STORE or APPEND that cannot be read: then it could be data, and is dropped.)
    """
    assume(b"bye" not in data.lower())
    clean = data.replace(b"\x18", b"")  # CAN may stop a reply half way
    assume(not re.search(rb"sto|app", re.sub(rb"[^a-z]", b"", clean.lower())))

    async def run() -> bytes:
        async with gateway() as (_, host, port):
            return await talk(host, port, clean + b"\xf0\xff\xf0\r\rSET plain eol=crlf\rNOOP still-here\r")

    answer = asyncio.run(run())
    assert b"still-here" in answer
    assert well_formed(answer) >= 2


async def test_a_fault_of_our_own_cuts_one_line_only(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async with gateway() as (_, host, port):
        other, writer = await asyncio.open_connection(host, port)
        writer.write(b"NOOP a\r")
        await other.readline()
        with monkeypatch.context() as patch:
            patch.setattr(Connection, "_serve", None)
            assert await talk(host, port, b"NOOP\r") == b""
        writer.write(b"BYE\r")
        assert b"221 " in await other.read()
        writer.close()
    assert "a connection failed" in caplog.text


async def test_a_worker_that_is_ended_cuts_its_line() -> None:
    """As at the end of the loop."""
    async with gateway() as (server, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        writer.write(b"NOOP\r")
        await reader.readexactly(18)
        (line,) = server.admission.here
        assert isinstance(line, Connection)
        assert line._worker is not None
        line._worker.cancel()
        assert await asyncio.wait_for(reader.read(), 5) == b""
        line.abort()  # it is gone already
        await line.gone()
        writer.close()


async def test_hurry_without_a_reply_in_flight_changes_nothing() -> None:
    async with gateway() as (server, host, port):
        reader, writer = await asyncio.open_connection(host, port)
        for word in (b"one", b"two"):
            writer.write(b"NOOP " + word + b"\r")
            assert (await reader.readline()).startswith(b"200 00001 ")
            assert (await reader.readline()).startswith(word)
            (line,) = server.admission.here
            assert isinstance(line, Connection)
            await asyncio.sleep(0.01)
            line.hurry()
        writer.close()
