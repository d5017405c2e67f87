"""Reloads while many clients ask: no request is lost, and a wrong catalogue changes nothing."""

import asyncio
import signal
import sys
from asyncio.subprocess import PIPE
from pathlib import Path

import pytest

from tests.gateway.commands.processes import Serving, serving

CLIENTS = 200
RELOADS = 100

CATALOGUE = """[gateway]
clients = {clients}
[[listen]]
port = 0
profile = "own"
[profile.own]
cols = {columns}
[place.shelf]
base = "file://{folder}/"
[source.value]
url = "shelf:value.json"
keep = "1h"
[[source.value.field]]
name = "V"
at = "$.v"
width = 9
"""
GOOD = b"200 00001 009 ..\r\nunchanged\r\n"


def write(folder: Path, text: str) -> None:
    """As an editor does, so that nobody reads half of it."""
    draft = folder / "headrace.toml.new"
    draft.write_text(text)
    draft.replace(folder / "headrace.toml")


class Client:
    """Asks and asks; `replies` counts what came as it should, `wrong` is what did not."""

    def __init__(self) -> None:
        self.replies, self.wrong = 0, b""

    async def run(self, port: int, ended: asyncio.Event) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while not ended.is_set():
            writer.write(b"ASK value\rNOOP again\r")
            async with asyncio.timeout(20):
                told = await reader.readexactly(len(GOOD))
                status = await reader.readexactly(18)
                record = await reader.readexactly(int(status[10:13]) + 2)
            if told != GOOD or status[:9] != b"200 00001" or record.strip() != b"again":
                self.wrong = told + status + record
                break
            self.replies += 2
            await asyncio.sleep(0.02)
        writer.close()
        await writer.wait_closed()


async def reload_often(gateway: Serving, folder: Path, clients: list[Client]) -> None:
    """Every third time a catalogue with a mistake; some client is answered between any two."""
    for number in range(RELOADS):
        text = CATALOGUE.format(clients=CLIENTS, columns=40 + number % 3, folder=folder)
        write(folder, text if number % 3 else text + "[nonsense]\n")
        before = sum(each.replies for each in clients)
        gateway.process.send_signal(signal.SIGHUP)
        while sum(each.replies for each in clients) == before:  # noqa: ASYNC110 nothing tells of it
            await asyncio.sleep(0.005)
        await asyncio.sleep(0.03)


TOO_MANY = """
import socket, sys, time
took = []
for _ in range(20):
    began, told = time.monotonic(), b""
    with socket.create_connection(("127.0.0.1", int(sys.argv[1])), timeout=20) as line:
        while told.count(b"\\n") < 2:
            told += line.recv(1_000)
        took.append(time.monotonic() - began)
    assert told.startswith(b"421 00001 0") and b"\\r\\nThe gateway is full" in told, told
print(*took)
"""


async def too_many(port: int) -> list[float]:
    """Seconds until the client over the limit has its whole 421, twenty times: from another process, since
    in this one it would wait for the two hundred others here, too.
    """
    asking = await asyncio.create_subprocess_exec(sys.executable, "-c", TOO_MANY, str(port), stdout=PIPE)
    told, _ = await asking.communicate()
    assert asking.returncode == 0
    return [float(each) for each in told.split()]


@pytest.mark.alone
def test_a_hundred_reloads_while_two_hundred_clients_ask(tmp_path: Path) -> None:
    (tmp_path / "value.json").write_text('{"v": "unchanged"}')
    write(tmp_path, CATALOGUE.format(clients=CLIENTS, columns=40, folder=tmp_path))

    async def main(gateway: Serving, port: int) -> tuple[list[Client], list[float]]:
        clients, ended = [Client() for _ in range(CLIENTS)], asyncio.Event()
        running = [asyncio.create_task(each.run(port, ended)) for each in clients]
        while any(each.replies == 0 for each in clients):  # noqa: ASYNC110 nor of this
            await asyncio.sleep(0.05)
        await reload_often(gateway, tmp_path, clients)
        took = await too_many(port)
        ended.set()
        await asyncio.gather(*running)
        return clients, took

    with serving("--log", "error", folder=tmp_path) as gateway:
        port = int(gateway.wait_for(r"listening on 127\.0\.0\.1:([0-9]+) ")[1])
        clients, took = asyncio.run(main(gateway, port))
        assert gateway.end() == 0
    assert not [each.wrong for each in clients if each.wrong]
    assert sum(each.replies for each in clients) > 10 * CLIENTS
    assert sorted(took)[len(took) // 2] < 0.1, took  # though everybody else may wait for as long
    assert "the last good catalogue stays" in "".join(gateway.said)
