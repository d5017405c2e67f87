"""The client against a whole gateway, held against what a plain socket reads of the same gateway, and the
tests' own reader (tests.gateway.talking) takes apart.
"""

import asyncio
import socket
import struct
import time
from dataclasses import replace

import pytest

from adapters.errors import WrongWords
from gateway.serial.framing import Framing, Parity
from gateway.serial.machine import EndsAt, Machine, Overrun, Receiver, XonXoff
from gateway.serial.run import Run
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Noise, Way
from gateway.testing.clients.client import Client
from gateway.testing.clients.line import Line, NothingCame
from gateway.testing.clients.replies import Reply, Unmet, reply_of
from gateway.testing.clients.serial import SerialLine, lost
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from gateway.testing.upstream.server import Upstream
from gateway.wire.settings import Settings
from tests.gateway.talking import replies, talk
from tests.gateway.testing.harbour import CATALOGUE, MOLE, ORIGIN, RECORDS

ASK = "ASK TIDES mole"
EVENTS = [(f"{minute // 60:02}:{minute % 60:02}", minute) for minute in range(24)]
LONG = {"events": [{"at": at, "height": height} for at, height in EVENTS]}


@pytest.fixture
def far(stage: Stage) -> Upstream:
    server = stage.upstreams()
    server.on("/mole.json").json(MOLE)
    server.on("/long.json").json(LONG)
    return server


@pytest.fixture
def gateway(stage: Stage, far: Upstream) -> Gateway:
    return stage.gateways(CATALOGUE, instead={ORIGIN: far.url})


@pytest.fixture
def client(stage: Stage, gateway: Gateway) -> Client:
    return stage.clients(gateway)


def said(gateway: Gateway, *requests: str) -> bytes:
    data = "".join(f"{each}\r" for each in requests).encode("ascii")
    return asyncio.run(talk(gateway.host, gateway.port, data))


# Replies


def test_a_status_line_and_its_columns() -> None:
    reply = reply_of("200 00024 028 +C", ("a",))
    assert reply == Reply(200, 24, "200 00024 028 +C", ("a",))
    assert (reply.done, reply.width, reply.more, reply.worst) == (True, 28, True, "C")
    assert (reply.lost, reply.seconds) == (0, 0.0)


@pytest.mark.parametrize(
    "line",
    ["", "200 00003 028 . ", "200 0003 028 ..", "600 00000 000 ..", "200 00003 028 .. ", "200 00003 028 xx"],
)
def test_what_is_no_status_line(line: str) -> None:
    assert reply_of(line) is None


def test_every_request_is_read_as_a_plain_socket_reads_it(gateway: Gateway, client: Client) -> None:
    requests = [
        ASK,
        "SOURCES",
        "LAYOUT TIDES",
        "HELP",
        "HELP ASK",
        "NOOP word",
        "nonsense",
        "ASK NONE",
        "WHY",
    ]
    plain = replies(said(gateway, *requests[:-1]))
    mine = [client.ask(each) for each in requests[:-1]]
    assert [(each.text, list(each.records)) for each in mine] == [
        (status, [record.decode() for record in records]) for status, records in plain
    ]
    assert client.ask("ASK TIDES mole").records == RECORDS
    assert client.ask(requests[-1]).count > 1


@pytest.mark.parametrize(
    "words",
    [
        *(f"eol={each}" for each in ("crlf", "cr", "lf", "9b", "none", "mirror")),
        *("check=sum", "check=crc", "check=crc eol=none", "check=crc window=2", "check=sum charset=caseswap"),
        *("charset=cp037", "charset=cp037 check=crc window=3 eol=cr", "charset=latin1", "bits=7"),
        *("window=1", "window=2", "window=3", "window=30 page=1"),
        *(
            "echo=on",
            "echo=on window=1",
            "echo=on eol=mirror check=sum",
            "buffer-128",
            "comma-split",
            "nine-b",
        ),
    ],
)
def test_whatever_the_settings_the_records_are_the_same(gateway: Gateway, stage: Stage, words: str) -> None:
    client = stage.clients(gateway, words)
    first = client.ask(ASK)
    assert (
        first.records
        == (
            RECORDS
            if "comma" not in words
            else tuple(f"!{each}" for each in ("06.12   4.10", "12.30   0.70"))
        )[: 1 if "page" in words else 2]
    )
    assert client.ask("NOOP after").records[0].rstrip() in {"after", "!after"}
    assert client.ask("SET plain").text == "200 00000 000 .."
    assert client.settings == Settings()
    assert client.ask(ASK).records == RECORDS
    assert client.quiet(0.01)


def test_a_set_that_is_refused_changes_nothing(client: Client) -> None:
    before = client.settings
    for words in ("eol=tab", "none-such eol=cr", "cols=200 most=20", "eol", "charset=cp037 eol=9b bits=7"):
        assert client.ask(f"SET {words}").status >= 500
        assert client.settings is before
    assert client.ask("SET").count > 20, "shown, and nothing is set"
    assert client.settings is before


def test_several_requests_at_once(client: Client) -> None:
    for request in (ASK, "SET eol=cr", ASK, "SET check=crc", ASK):
        client.send(request)
    assert [client.reply().count for _ in range(5)] == [2, 0, 2, 0, 2]


def test_storing_and_reading(client: Client, far: Upstream) -> None:
    far.on("/quay/log.txt").status(404).status(404).status(201).data(b"HIGH\nLOW\n", "text/plain")
    stored = client.ask("STORE quay:log.txt", ["HIGH", "LOW"])
    assert stored.status == 250, (stored, far.requests)
    (put,) = [each for each in far.requests if each.method == "PUT"]
    assert (put.path, put.body) == ("/quay/log.txt", b"HIGH\nLOW\n")
    assert client.ask("READ quay:log.txt").records == ("484947480A4C4F570A".ljust(40),)
    client.ask("SET bytes=raw")
    assert client.ask("READ quay:log.txt") == Reply(200, 9, "200 00009 001 ..", ("HIGH\nLOW\n",))
    assert client.ask("NOOP").status == 200


def test_350_without_lines_is_the_tests_own(client: Client, far: Upstream) -> None:
    far.on("/quay/five").status(404).status(404).status(201).data(b"\r\n\x00\xff.")
    assert client.ask("STORE quay:five 5").status == 350
    client.put(b"\r\n\x00\xff.")
    assert client.reply().status == 250
    assert [each.body for each in far.requests if each.method == "PUT"] == [b"\r\n\x00\xff."]


# What does not come


def test_no_reply_says_what_came_and_what_was_logged(client: Client, far: Upstream) -> None:
    far.on("/mole.json").silent()
    with pytest.raises(
        Unmet, match=r"^the reply to 'ASK TIDES mole' did not come within 0\.05 s: nothing more"
    ):
        client.ask(ASK, timeout=0.05)
    with pytest.raises(Unmet, match=r"^a reply did not come within 0\.01 s"):
        client.reply(timeout=0.01)


def test_half_a_reply_is_shown(stage: Stage, gateway: Gateway) -> None:
    client = stage.clients(gateway, "eol=none")
    client.settings = replace(client.settings, eol="crlf")  # as a program would that forgot what it had set
    with pytest.raises(Unmet, match=r"followed by b'06' instead of b'\\r\\n'"):
        client.ask(ASK)


def test_the_gateways_log_is_told(stage: Stage, far: Upstream) -> None:
    catalogue = CATALOGUE.replace("/{station}", "/{station}")
    gateway = stage.gateways(catalogue, instead={ORIGIN: "http://nobody.example"}, log="info")
    client = stage.clients(gateway)
    assert client.ask(ASK).status == 425
    with pytest.raises(Unmet, match=r"the gateway's log ends:\n(.*\n)*.*not looked up: nobody\.example"):
        client.reply(timeout=0.01)


def test_what_is_no_reply(client: Client) -> None:
    client.put(b"NOOP\rNOOP word\r")
    client.read(3)
    with pytest.raises(Unmet, match="no status line in answer to '', but b' 00000 000 "):
        client.reply()


# Bytes and the line


def test_bytes_as_they_come(client: Client) -> None:
    client.put(b"NO")
    assert client.quiet(0.01)
    client.put(b"OP word\r")
    assert client.read(4) == b"200 "
    assert client.read_line() == "00001 040 .."
    assert client.read_line() == "word".ljust(40)
    with pytest.raises(Unmet, match=r"^2 bytes did not come within 0\.01 s"):
        client.read(2, timeout=0.01)


def test_what_is_there_already_needs_no_time(client: Client) -> None:
    client.put(b"NOOP word\r")
    end = time.monotonic() + 5
    while client.quiet(0):
        assert time.monotonic() < end, "the reply came, and is seen"
    assert client.read_line(timeout=0).startswith("200 ")
    with pytest.raises(Unmet, match=r"^99 bytes did not come within 0 s: nothing more came in time"):
        client.read(99, timeout=0)


def test_a_flood_has_an_end_and_a_cut_line_is_one_that_hung_up() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = Line("127.0.0.1", server.getsockname()[1], 5)
        far, _ = server.accept()
        far.sendall(b"x" * 100_000)
        with pytest.raises(NothingCame, match="nothing more came in time"):
            line.take(100_000, time.monotonic())
        assert line.take(100_000, time.monotonic() + 5) == b"x" * 100_000
        far.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        far.close()
        assert line.ended(time.monotonic() + 5)
        with pytest.raises(NothingCame, match="the gateway hung up"):
            line.take(1, time.monotonic() + 5)
        line.close()


def test_hanging_up_and_calling_again(client: Client) -> None:
    client.put(b"NOOP\r")
    client.finish()
    assert client.reply().status == 200
    assert client.hung_up()
    with pytest.raises(Unmet, match="the gateway hung up"):
        client.reply()
    client.redial()
    assert client.ask("BYE").status == 221
    assert client.hung_up()
    client.redial()
    assert not client.hung_up(timeout=0.01)
    client.reset()
    client.close()
    with pytest.raises(Unmet, match="could not send b'NOOP"):
        client.ask("NOOP")


def test_a_lost_line_is_taken_up_again(stage: Stage, far: Upstream) -> None:
    gateway = stage.gateways(CATALOGUE, instead={ORIGIN: far.url}, resume=True, greeting=True)
    client = stage.clients(gateway)
    assert client.greeting is not None
    assert client.greeting.status == 220
    asked = client.ask(ASK)
    client.reset()
    client.redial()
    assert client.ask("AGAIN") == asked


def test_listeners_and_profiles(stage: Stage, far: Upstream) -> None:
    listeners = '[[listen]]\nport = 1\n\n[[listen]]\nport = 2\nprofile = "nine-b"\n'
    gateway = stage.gateways(listeners + CATALOGUE, instead={ORIGIN: far.url}, profile="cols-32")
    first, second = stage.clients(gateway), stage.clients(gateway, listener=2)
    assert (first.settings.cols, second.settings.eol) == (32, "9b")
    assert first.ask(ASK) == second.ask(ASK)
    with pytest.raises(ValueError, match="no listener 3; the catalogue has 2"):
        stage.clients(gateway, listener=3)
    with pytest.raises(Unmet, match="SET eol=tab was answered 501 "):
        stage.clients(gateway, "eol=tab")


# Slow lines

MACHINES = {
    "quick": (Framing(9600), Machine(), "eol=crlf"),
    "polled": (Framing(1200), Machine(record_seconds=0.05), "eol=crlf"),
    "polled-last": (Framing(1200), Machine(record_seconds=0.05, ends_at=EndsAt.LAST), "eol=crlf"),
    "overwritten": (Framing(9600), Machine(record_seconds=0.01, overrun=Overrun.OLD), "eol=cr"),
    "buffer": (
        Framing(19200),
        Machine(Receiver.INTERRUPT, byte_seconds=0.003, buffer_bytes=64, service_seconds=0.0001),
        "eol=cr",
    ),
    "windows": (Framing(1200), Machine(record_seconds=0.05), "window=1 eol=cr"),
    "paced": (Framing(9600), Machine(byte_seconds=0.002), "pace=300 gap=20 eol=cr"),
    "xon": (
        Framing(9600),
        Machine(Receiver.INTERRUPT, byte_seconds=0.004, buffer_bytes=128, xon=XonXoff(high=40, low=10)),
        "flow=xon eol=cr",
    ),
    "counted": (Framing(1200), Machine(record_seconds=0.02), "eol=none"),
    "seven": (Framing(300, 7, Parity.EVEN), Machine(record_seconds=0.1), "bits=7 check=crc"),
}


def lines_of(gateway: Gateway, words: str) -> list[bytes]:
    """A reply's lines as they go out, read by a plain socket, with no windows and no pace."""
    held = said(gateway, f"SET {words} pace=0 gap=0 window=0 flow=none", "ASK TIDES long")
    end = b"" if "none" in words else b"\r" if "eol=cr" in words and "crlf" not in words else b"\r\n"
    extra = 4 if "crc" in words else 0
    data, lines = held[16 + extra + len(end) :], []
    for width in (16 + extra, *[12 + extra] * 24):
        lines.append(data[: width + len(end)])
        data = data[width + len(end) :]
    assert data == b""
    return lines


@pytest.mark.parametrize("name", MACHINES)
def test_the_same_bytes_are_lost_as_in_the_simulation(stage: Stage, gateway: Gateway, name: str) -> None:
    framing, machine, words = MACHINES[name]
    link = Link(latency=0.02, adapter_bytes=8) if name == "xon" else Link(latency=0.02)
    noise = Noise(rate=0.0005 if name == "polled" else 0.0)
    client = stage.clients(gateway, words, framing=framing, machine=machine, link=link, noise=noise)
    began = time.monotonic()
    reply = client.ask("ASK TIDES long")
    assert time.monotonic() - began < 3, "the line is simulated, and takes no time"
    expected = simulate(Way(framing, machine, client.settings, link, noise), lines_of(gateway, words))
    assert reply.run == expected
    assert reply.lost == len(expected.losses)
    assert (reply.lost > 0) == (
        name in {"polled", "polled-last", "overwritten", "buffer", "counted", "seven"}
    )
    whole = tuple(f"{at}{height:>7.2f}" for at, height in EVENTS)
    if expected.lossless:
        assert reply.records == whole
    else:
        assert reply.records != whole
    assert reply.seconds == float(expected.finished or expected.ended)


def test_the_settings_of_a_slow_line_stay_those_that_were_set(stage: Stage, far: Upstream) -> None:
    gateway = stage.gateways(CATALOGUE, instead={ORIGIN: far.url}, profile="paper")
    client = stage.clients(gateway, bits_per_second=110)
    assert (client.settings.pace, client.settings.gap) == (10, 200)
    assert client.ask(ASK).seconds > 4
    client.ask("SET pace=20 gap=0")
    assert (client.settings.pace, client.settings.gap) == (20, 0)
    assert client.ask(ASK).seconds > 2
    assert client.ask("SET").records[0].split() == ["PROFILE", "PAPER"]


def test_a_reply_without_its_status_line(stage: Stage, gateway: Gateway) -> None:
    client = stage.clients(gateway, bits_per_second=9600, machine=Machine(byte_seconds=0.01))
    with pytest.raises(
        Unmet, match=r"the status line came as b'.*': \d+ of \d+ bytes were lost, the first in line 0, column"
    ):
        client.ask(ASK)


def test_what_a_line_did_in_words() -> None:
    way = SerialLine(Framing(9600), Machine(record_seconds=1))
    settings = Settings(eol="cr", window=1)
    noisy = replace(way, noise=Noise(rate=0.1, seed=3))
    run = noisy.carry([b"200 00001 004 ..\r", b"TIDE\r"], settings)
    assert isinstance(run, Run)
    assert run.unsent == 5
    assert "came garbled" in lost(run)
    assert "5 were never sent: the program waits for a line end that was lost" in lost(run)
    assert lost(way.carry([b"200 00000 000 ..\r"], settings)) == "0 of 17 bytes were lost"


def test_lines_that_do_not_go_together(stage: Stage, gateway: Gateway) -> None:
    with pytest.raises(ValueError, match="has its own bits a second"):
        stage.clients(gateway, bits_per_second=300, framing=Framing(300))
    with pytest.raises(ValueError, match="wants a line: bits_per_second=9600"):
        stage.clients(gateway, machine=Machine())
    with pytest.raises(WrongWords, match="bits a second"):
        stage.clients(gateway, bits_per_second=0)
    with pytest.raises(ValueError, match="echo cannot be told"):
        stage.clients(gateway, "echo=on eol=none").ask("NOOP")
