"""Every source of the demo catalogue, asked of the running gateway over a bare socket.

What the stages make of each document is worked out in tests/demo_site/test_catalogue.py; here it is the ways
there: HTTPS with an own authority, a redirect, gzip, a key, a password, JSON and lines sent.
"""

import socket
from collections.abc import Iterator

import pytest

from demo_site.servers import DemoServers
from demo_site.site import BUSY_SECONDS


class Client:
    """What ten lines of BASIC can do: read a status line, then as many records as it says."""

    def __init__(self, connection: socket.socket) -> None:
        self._lines = connection.makefile("rwb")

    def send(self, line: str) -> None:
        self._lines.write(line.encode("ascii") + b"\r\n")
        self._lines.flush()

    def reply(self) -> tuple[str, list[str]]:
        status = self._line()
        assert len(status) == 16
        records = [self._line() for _ in range(int(status[4:9]))]
        assert {len(record) for record in records} <= {int(status[10:13])}
        return status, records

    def ask(self, line: str) -> tuple[str, list[str]]:
        self.send(line)
        return self.reply()

    def _line(self) -> str:
        line = self._lines.readline()
        assert line.endswith(b"\r\n")
        return line[:-2].decode("ascii")


@pytest.fixture
def client(gateway_port: int, demo_servers: DemoServers) -> Iterator[Client]:
    demo_servers.site.reset()
    with socket.create_connection(("127.0.0.1", gateway_port), timeout=30) as connection:
        yield Client(connection)


@pytest.mark.parametrize(
    ("request_line", "status", "first"),
    [
        ("ASK TIDES BAR", "200 00004 019 ..", "00:15 LOW    0.05 0"),
        ("ASK WATER MOLE", "200 00001 035 ..", "  8  -0.04   3.30  1.910 2024-05-17"),
        ("ASK FERRIES", "200 00004 045 .C", "F-101 06:30 Othermarrow  Moewe        4.50 0A"),
        ("ASK LINES", "200 00005 034 ..", " 1 Othermarrow                4.50"),
        ("ASK NOTICES", "200 00003 040 .L", "17.05 04:30:00 Lock closed for repairs  "),
        ("ASK NEWS", "200 00003 064 .C", "2024-05-17 Town hall    Brass band plays on the mole            "),
        (
            "ASK MUSEUM",
            "200 00006 071 .*",
            "    9007199254740993  1788        Ship's bell             31.5  BEEF  1",
        ),
        ("ASK FINDS", "200 00005 037 .C", "001 Clay pipe         12.3 2024-05-02"),
        ("ASK MARKET", "200 00005 031 .*", "Herring, smoked    kg    7.40 1"),
        ("ASK SCORES", "200 00005 026 ..", "  1 FERRY CAT         9900"),
        ("ASK PILOTS", "200 00002 018 ..", "Pilot 1    1 ..2.1"),
        ("ASK BERTHS", "200 00002 027 ..", "  4 2024-05-17 Moewe       "),
        (
            "PICK site:tides/sandbar.json $.station $.name:16 $.sea.kelvin:6f $.id",
            "200 00001 034 ..",
            "Lantern Sandbar         sandbar   ",
        ),
    ],
)
def test_each_source_answers(client: Client, request_line: str, status: str, first: str) -> None:
    answered, records = client.ask(request_line)
    assert (answered, records[0]) == (status, first)


def test_a_score_is_told_once(client: Client) -> None:
    assert client.ask("TELL SCORE MOLE 8200") == ("200 00001 020 ..", ["  2   6 MOLE        "])
    status, _ = client.ask("TELL SCORE MOLE 8200")
    assert status[:3] == "555"  # HTTP 409: it is there already
    status, records = client.ask("ASK SCORES")
    assert (status, records[1]) == ("200 00006 026 ..", "  2 MOLE              8200")


def test_the_guest_book_takes_lines(client: Client, demo_servers: DemoServers) -> None:
    assert client.ask("TELL SIGN") == ("350 00000 000 ..", [])
    for line in (">Greetings from afar", ">and thanks for the fish", "."):
        client.send(line)
    assert client.reply() == ("200 00001 032 ..", ["    1     2 Greetings from afar "])
    (entry,) = demo_servers.site.guest_book.entries()
    assert entry.lines == ("Greetings from afar", "and thanks for the fish")


def test_far_trouble_has_codes(client: Client) -> None:
    status, (record,) = client.ask("ASK BUSY")
    assert status[:3] == "450"
    assert record.split()[-1] == str(BUSY_SECONDS)  # the record ends in the seconds of Retry-After
    assert client.ask("PICK site:nowhere $")[0][:3] == "550"
    assert client.ask("PICK site:harbour/office $")[0][:3] == "533"  # no password was sent
    assert client.ask("ASK TIDES NOWHERE")[0][:3] == "501"
    assert client.ask("TELL SCORE MOLE ALOT")[0][:3] == "501"
