"""kill -9 of a real `headrace serve --record` in the middle of many fetches: every reply that a client had
whole is played from what is left, and nothing that is left half done is in anybody's way.
"""

import asyncio
import os
import random
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from adapters.recorded.tree.disk import PART
from tests.gateway.commands.processes import serving
from tests.gateway.commands.test_serve import port_of
from tests.recorded.contract import folder as recordings
from tests.recorded.places import PASSWORD, PLACES, Place, folder
from tests.recorded.twice import MOMENT, Twice

ROUNDS = int(os.environ.get("HEADRACE_KILLS", "2"))
CLIENTS = 6
DOCUMENTS = 60
_SOURCE = """
[gateway]
state = "state"
[[listen]]
port = 0
[source.rows]
url = "web:{name}"
args = ["name"]
rows = "$.rows[*]"
[[source.rows.field]]
name = "N"
at = "$"
kind = "int"
width = 6
"""


@pytest.fixture(scope="module")
def places() -> Iterator[dict[str, Place]]:
    """A web server, an FTP server and a folder, each with the same documents."""
    with ExitStack() as stack:
        web, quay = (stack.enter_context(PLACES[scheme]()) for scheme in ("http", "ftp"))
        shelf = stack.enter_context(folder())
        for place in (web, quay, shelf):
            for number in range(DOCUMENTS):
                rows = ", ".join(str(number * each) for each in range(number * 20))
                place.put(f"d{number}.json", f'{{"rows": [{rows}]}}'.encode())
                place.put(f"f{number}/t{number}.txt", f"Line of text {number}\n".encode() * (number * 15))
        yield {"web": web, "quay": quay, "shelf": shelf}


@dataclass
class Client:
    """Asks one thing after another, each once, and keeps what came whole."""

    requests: list[str]
    port: int
    said: list[tuple[str, bytes]] = field(default_factory=list)

    def run(self) -> None:
        with (
            suppress(OSError, EOFError),
            socket.create_connection(("127.0.0.1", self.port), timeout=20) as connection,
        ):
            stream = connection.makefile("rb")
            for request in self.requests:
                connection.sendall(request.encode() + b"\r")
                self.said.append((request, _reply(stream.read)))


def _reply(read: Callable[[int], bytes]) -> bytes:
    """A whole one; EOFError where it ends before."""
    status = _exactly(read, 18)
    return status + _exactly(read, int(status[4:9]) * (int(status[10:13]) + 2))


def _exactly(read: Callable[[int], bytes], size: int) -> bytes:
    data = read(size)
    if len(data) < size:
        raise EOFError
    return data


def requests(client: int, clients: int) -> list[str]:
    """Each request of one client is its own."""
    mine = range(client, DOCUMENTS, clients)
    made = [f"ASK rows d{number}.json" for number in mine]
    for place in ("web", "quay", "shelf"):
        made += [f"TEXT {place}:f{number}/t{number}.txt" for number in mine]
        made += [f"READ {place}:d{number}.json 10 3000" for number in mine]
        made += [f"LIST {place}:f{number}/" for number in mine]
    return made


@pytest.mark.parametrize("number", range(ROUNDS))
def test_what_was_complete_is_played(number: int, places: dict[str, Place], tmp_path: Path) -> None:
    catalogue = tmp_path / "headrace.toml"
    catalogue.write_text(_SOURCE + "".join(place.named(name) for name, place in places.items()))
    (tmp_path / "password").write_text(PASSWORD)
    said = killed(tmp_path)
    twice = Twice(catalogue, tmp_path / "hall")
    played = asyncio.run(twice.played(*(request for request, _ in said)))
    assert played == [reply for _, reply in said]
    asyncio.run(twice.live("LIST shelf:f1/"))  # the next one that records takes away what was left
    assert not list(twice.site.rglob(f"*{PART}"))
    assert len(list(recordings(twice.site).exchanges())) >= len(said)


def killed(home: Path) -> list[tuple[str, bytes]]:
    """What clients were told by a gateway that records into `hall`, until it was killed."""
    chance = random.Random()
    with serving("--record", "hall", "--clock", MOMENT.isoformat(), folder=home) as gateway:
        port = port_of(gateway)
        asked = [requests(number, CLIENTS) for number in range(CLIENTS)]
        clients = [Client(chance.sample(each, len(each)), port) for each in asked]
        threads = [threading.Thread(target=client.run) for client in clients]
        for thread in threads:
            thread.start()
        wanted = chance.randrange(5, 150)
        while sum(len(client.said) for client in clients) < wanted:
            time.sleep(0.001)
        time.sleep(chance.random() / 50)
        gateway.process.kill()
        for thread in threads:
            thread.join()
        gateway.process.wait()
    said = [pair for client in clients for pair in client.said]
    assert wanted <= len(said) < sum(map(len, asked))
    return said
