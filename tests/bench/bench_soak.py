"""Many clients for a long time, with faults on both sides; run by hand: python -m tests.bench.bench_soak

    python -m tests.bench.bench_soak --clients 1000 --minutes 20 --visits 100000

A real `headrace serve`, far servers in a process of their own (one good, one with a fault in every second
answer, one that hangs), and clients that ask, store, cut their lines, say CAN, and read slowly. Every reply
is looked at: those of the good server, of the folder and of the clock to the letter, the others by their form
and by the codes that the faults may have. What is put off because there is too much to do (420, 421, 451 and
452, and 150, 558 and then 555 behind a STORE) is counted by itself: it is no wrong reply, and there is none
where the machine is quick enough. Then visitors who connect and leave, without a word or within one.

Told: replies by code, wrong ones, how long the good ones took (the client's own think time excluded), and the
gateway's memory, descriptors, threads and tasks as its own page tells them.
"""

import argparse
import asyncio
import random
import socket
import struct
import sys
import tempfile
import time
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from subprocess import PIPE, Popen

from prometheus_client.parser import text_string_to_metric_families

from tests.gateway.commands.processes import ENVIRONMENT, ROOT, Serving
from tests.gateway.service.callers.callers import free_port

CATALOGUE = """[gateway]
metrics = {metrics}
clients = {clients}
wait = 5
stall = 10
[[listen]]
port = 0
[place.shelf]
base = "file://{folder}/shelf/"
write = true
[place.good]
base = "http://127.0.0.1:{good}/"
[place.bad]
base = "http://127.0.0.1:{bad}/"
[place.hung]
base = "http://127.0.0.1:{hung}/"
[source.square]
url = "good:{{n}}.json"
args = ["n"]
keep = 0
[[source.square.field]]
name = "S"
at = "$.square"
width = 9
kind = "int"
"""
FAULTS = ("200", "404", "420", "421", "425", "426", "429", "450", "451", "551", "552", "554", "502", "550")
"""What may come of a fault of the far server."""
PUT_OFF = ("420", "421", "451", "452")
"""What the gateway says where it has too much to do, of what meets no fault."""


# The far servers


async def far() -> None:
    """Tell their ports, and answer until the end of the input."""
    chance = random.Random(7)

    async def good(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError, EOFError, asyncio.IncompleteReadError):
            while True:
                head = await reader.readuntil(b"\r\n\r\n")
                name = head.split(b" ")[1].decode().strip("/").partition(".")[0]
                body = f'{{"square": {int(name) ** 2}, "said": "{"x" * 500}"}}'.encode()
                writer.write(_answer(body))
                await writer.drain()
        writer.close()

    async def bad(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError, EOFError, asyncio.IncompleteReadError):
            while True:
                await reader.readuntil(b"\r\n\r\n")
                fault = chance.randrange(14)
                if fault == 0:
                    writer.transport.abort()
                elif fault == 1:
                    writer.write(_answer(b"x" * 5_000)[:2_000])
                elif fault == 2:
                    writer.write(b"HTTP/1.1 nonsense\r\n\r\n")
                elif fault == 3:
                    writer.write(b"HTTP/1.1 503 Busy\r\nContent-Length: 0\r\n\r\n")
                elif fault == 4:
                    writer.write(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n")
                elif fault == 5:
                    await asyncio.sleep(0.8)
                    writer.write(_answer(b"late"))
                elif fault == 6:
                    writer.write(_answer(b"\x00\xff" * 50_000))
                else:
                    writer.write(_answer(b"fine\n"))
                    await writer.drain()
                    continue
                await writer.drain()
                break
        writer.close()

    async def hung(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            await reader.read()
        writer.close()

    servers = [await asyncio.start_server(each, "127.0.0.1", 0, backlog=1_000) for each in (good, bad, hung)]
    print(*(each.sockets[0].getsockname()[1] for each in servers), flush=True)
    await asyncio.to_thread(sys.stdin.read)


def _answer(body: bytes) -> bytes:
    return b"HTTP/1.1 200 OK\r\nContent-Type: text/plain\r\nContent-Length: %d\r\n\r\n" % len(body) + body


# The clients


@dataclass
class Seen:
    """What came of all."""

    codes: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    put_off: Counter[str] = field(default_factory=Counter)
    seconds: list[float] = field(default_factory=list)
    cut: int = 0


Check = Callable[[str, list[str]], bool]


class Client:
    """One, for as long as it is told. `chance` makes each another's, and every run the same."""

    def __init__(self, port: int, number: int, think: float, seen: Seen) -> None:
        self.port, self.number, self.think, self.seen = port, number, think, seen
        self.chance = random.Random(number)
        self.behind = False  # whether a STORE of its own was put off
        self.reader: asyncio.StreamReader
        self.writer: asyncio.StreamWriter

    async def run(self, until: float) -> None:
        await asyncio.sleep(self.chance.random() * self.think)
        while time.monotonic() < until:
            try:
                self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)
                await self._converse(until)
            except (OSError, EOFError, asyncio.IncompleteReadError) as error:
                self.seen.wrong.append(f"the line was lost: {error!r}")
            finally:
                with suppress(OSError, AttributeError):
                    self.writer.close()

    async def _converse(self, until: float) -> None:
        while time.monotonic() < until:
            await asyncio.sleep(self.think * (0.5 + self.chance.random()))
            what = self.chance.randrange(100)
            if what < 3:
                return self._cut()
            if what < 6:
                await self._store()
            elif what < 10:
                await self._called_off()
            elif what < 12:
                await self._read_slowly()
            else:
                await self._ask(what)
        self.writer.write(b"BYE\r")
        await self._reply()
        return None

    def _cut(self) -> None:
        """In the middle of a word, or with a reply on its way; now and then with a reset."""
        self.writer.write(self.chance.choice((b"", b"AS", b"ASK square 4", b"LIST shelf:\rTEXT shelf:l")))
        if self.chance.random() < 0.5:
            line = self.writer.get_extra_info("socket")
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self.seen.cut += 1

    async def _ask(self, what: int) -> None:
        number = self.chance.randrange(30_000)
        request, right, counts = "TIME", _is(1), True
        if what < 50:
            square = str(number**2).rjust(9)
            request, right = f"ASK square {number}", _says([square])
        elif what < 60:
            request, right = "TEXT shelf:long.txt", lambda status, _: status == "200 00400 040 .."
        elif what < 70:
            request, right = "LIST shelf:", lambda status, _: status.startswith("200 ")
        elif what < 76:
            request, right = f"PICK good:{number}.json $.square", _ends([str(number**2)])
        elif what < 90:
            request, right, counts = f"TEXT bad:{number}", _may(FAULTS), False
        elif what < 93:
            request, right, counts = f"TEXT hung:{number}", _may(FAULTS), False
        await self._said(request, right, counts=counts)

    async def _store(self) -> None:
        words = f"client {self.number} at {time.time():.3f}"
        name = f"shelf:c{self.number}.txt"
        if not await self._said(f"STORE {name}", _may(("350",))):
            return
        self.writer.write(f">{words}\r.\r".encode())
        status, records = await self._reply()
        code = status[:3]
        if code in {"150", "558"} or (code == "555" and self.behind):  # an older one may still come, or came
            self.behind = True
            self.seen.codes[code] += 1
            self.seen.put_off[f"STORE, the data -> {code}"] += 1
        elif self._note(status, records, "STORE, the data", _may(("250",))):
            await self._said(f"TEXT {name}", _ends([words]))

    async def _called_off(self) -> None:
        """CAN behind a request: a reply to it or none, then 426 or nothing; NOOP tells where that is over."""
        self.writer.write(b"TEXT hung:x\r\x18")
        await asyncio.sleep(0.05)
        mark = f"m{self.chance.random():.9f}"
        self.writer.write(f"NOOP {mark}\r".encode())
        for _ in range(4):
            status, records = await self._reply()
            self.seen.codes[status[:3]] += 1
            if [each.rstrip() for each in records] == [mark]:
                return
        self.seen.wrong.append("CAN, and no reply to what came after it")

    async def _read_slowly(self) -> None:
        self.writer.write(b"TEXT shelf:long.txt\r")
        await asyncio.sleep(1)
        self._note(*await self._reply(), "slowly", lambda status, _: status == "200 00400 040 ..")

    async def _said(self, request: str, right: Check, *, counts: bool = True) -> bool:
        began = time.perf_counter()
        self.writer.write(request.encode() + b"\r")
        status, records = await self._reply()
        if counts:
            self.seen.seconds.append(time.perf_counter() - began)
        return self._note(status, records, request, right)

    def _note(self, status: str, records: list[str], request: str, right: Check) -> bool:
        """Whether it is the reply that was wanted."""
        code = status[:3]
        self.seen.codes[code] += 1
        if right(status, records):
            return True
        if code in PUT_OFF:
            self.seen.put_off[f"{request.partition(' ')[0]} -> {code}"] += 1
        else:
            self.seen.wrong.append(f"{request} -> {status} {records[:2]}")
        return False

    async def _reply(self) -> tuple[str, list[str]]:
        """One that is formed as the contract says, or ValueError."""
        async with asyncio.timeout(60):
            status = (await self.reader.readexactly(18)).decode("ascii")
            count, width = int(status[4:9]), int(status[10:13])
            if status[3::6] != "   " and (status[3], status[9], status[13], status[16:]) != (
                " ",
                " ",
                " ",
                "\r\n",
            ):
                raise ValueError(status)
            data = (await self.reader.readexactly(count * (width + 2))).decode("ascii")
        lines = data.split("\r\n")[:-1]
        if len(lines) != count or any(len(each) != width for each in lines):
            raise ValueError(status)
        return status[:-2], lines


def _is(count: int) -> Check:
    return lambda status, _: status.startswith(f"200 {count:05}")


def _says(wanted: list[str]) -> Check:
    return lambda status, records: status.startswith("200 ") and records == wanted


def _ends(wanted: list[str]) -> Check:
    return lambda status, records: status.startswith("200 ") and [each.strip() for each in records] == wanted


def _may(codes: tuple[str, ...]) -> Check:
    return lambda status, _: status[:3] in codes


# The gateway, as it tells of itself


@dataclass(frozen=True, slots=True)
class Weight:
    """Bytes, and how many of the others; `at` in seconds."""

    at: float
    memory: float
    descriptors: float
    tasks: float
    clients: float


def weight(metrics: int) -> Weight:
    with urllib.request.urlopen(f"http://127.0.0.1:{metrics}/metrics", timeout=30) as answer:
        text = answer.read().decode()
    values = {
        sample.name: sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }
    names = ("process_resident_memory_bytes", "process_open_fds", "headrace_tasks", "headrace_clients")
    return Weight(time.monotonic(), *(values[name] for name in names))


def slope(weights: list[Weight]) -> float:
    """Bytes a minute, by least squares."""
    middle = sum(each.at for each in weights) / len(weights)
    mean = sum(each.memory for each in weights) / len(weights)
    over = sum((each.at - middle) * (each.memory - mean) for each in weights)
    return 60 * over / sum((each.at - middle) ** 2 for each in weights)


@dataclass
class Soak:
    """What was seen, and the gateway's weight all along and before and after each part."""

    seen: Seen
    weights: list[Weight]
    before: Weight
    after: Weight
    visited: Weight
    visits_took: float


@contextmanager
def gateway(folder: Path, clients: int, names: int = 0) -> Iterator[tuple[int, int]]:
    """Its port, and the one of its numbers."""
    (folder / "shelf").mkdir()
    for number in range(names):
        (folder / "shelf" / f"c{number}.txt").write_text(f"client {number} was not here yet\n")
    (folder / "shelf" / "long.txt").write_text(
        "".join(f"line {number:03} of a long text\n" for number in range(400))
    )
    others = Popen(
        [sys.executable, "-m", "tests.bench.bench_soak", "--far"],
        cwd=ROOT,
        env=ENVIRONMENT,
        stdin=PIPE,
        stdout=PIPE,
    )
    assert others.stdout is not None
    good, bad, hung = map(int, others.stdout.readline().split())
    metrics = free_port()
    text = CATALOGUE.format(metrics=metrics, clients=clients, folder=folder, good=good, bad=bad, hung=hung)
    (folder / "headrace.toml").write_text(text)
    command = [sys.executable, "-m", "gateway.commands.main", "serve", "--log", "error"]
    process = Popen(command, cwd=folder, env=ENVIRONMENT, stderr=PIPE)
    try:
        running = Serving(process)
        port = int(running.wait_for(r"listening on 127\.0\.0\.1:([0-9]+) ")[1])
        running.wait_for("metrics at")
        yield port, metrics
        assert running.end() == 0
        print(*running.said[2:], sep="\n", end="")
    finally:
        for each in (process, others):
            each.kill()
            each.communicate()


async def soak(port: int, metrics: int, *, clients: int, seconds: float, think: float, visits: int) -> Soak:
    """All of it."""
    seen, weights = Seen(), list[Weight]()
    before = await asyncio.to_thread(weight, metrics)
    until = time.monotonic() + seconds
    running = [asyncio.create_task(Client(port, each, think, seen).run(until)) for each in range(clients)]
    while time.monotonic() < until:
        await asyncio.sleep(min(5.0, seconds / 10))
        weights.append(await asyncio.to_thread(weight, metrics))
    for found in await asyncio.gather(*running, return_exceptions=True):
        if found is not None:
            seen.wrong.append(repr(found))
    after = await _rested(metrics)
    began = time.monotonic()
    await _visit(port, visits)
    took = time.monotonic() - began
    return Soak(seen, weights, before, after, await _rested(metrics), took)


async def _rested(metrics: int) -> Weight:
    """Once nobody is there, and what was begun for them has ended."""
    for _ in range(120):
        found = await asyncio.to_thread(weight, metrics)
        if found.clients == 0 and found.tasks < 20:
            break
        await asyncio.sleep(0.5)
    return found


async def _visit(port: int, visits: int) -> None:
    """A hundred at a time."""
    chance = random.Random(1)
    left = iter(range(visits))

    async def some() -> None:
        for _ in left:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            how = chance.randrange(4)
            if how == 0:
                writer.transport.abort()
            elif how == 1:
                writer.write(b"ASK squ")
            elif how == 2:
                writer.write(b"TIME\r")
                await reader.read(10)
            writer.close()
            with suppress(OSError):
                await writer.wait_closed()

    await asyncio.gather(*(some() for _ in range(100)))


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--far", action="store_true")
    parser.add_argument("--clients", type=int, default=1_000)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--think", type=float, default=4.0, help="seconds between two requests of one client")
    parser.add_argument("--names", type=int, default=0, help="in the folder before they come")
    parser.add_argument("--visits", type=int, default=100_000)
    options = parser.parse_args()
    if options.far:
        asyncio.run(far())
        return
    with (
        tempfile.TemporaryDirectory() as name,
        gateway(Path(name), options.clients + 100, options.names) as (port, metrics),
    ):
        found = asyncio.run(
            soak(
                port,
                metrics,
                clients=options.clients,
                seconds=60 * options.minutes,
                think=options.think,
                visits=options.visits,
            )
        )
    tell(found, options)


def tell(found: Soak, options: argparse.Namespace) -> None:
    """In lines."""
    seen = found.seen
    took = sorted(seen.seconds)
    settled = found.weights[len(found.weights) // 3 :]
    most = max(found.weights, key=lambda each: each.memory)
    told = f"{options.clients} clients for {options.minutes} minutes"
    print(f"{told}: {seen.codes.total()} replies, {seen.cut} lines cut")
    print("by code:", " ".join(f"{code} {count}" for code, count in sorted(seen.codes.items())))
    print(
        f"put off: {seen.put_off.total()}",
        *(f"{what}: {n}" for what, n in seen.put_off.most_common()),
        sep="\n  ",
    )
    print(f"wrong: {len(seen.wrong)}", *seen.wrong[:20], sep="\n  ")
    for share in (0.5, 0.99, 0.999):
        print(f"p{100 * share:g}: {1_000 * took[int(share * len(took))]:.1f} ms", end=", ")
    print(f"longest {1_000 * took[-1]:.0f} ms, of {len(took)} requests that meet no fault")
    print(f"memory: {slope(settled) / 1024:+.1f} KiB a minute over the last two thirds")
    _weigh("before", found.before)
    _weigh("at most", most)
    _weigh("after", found.after)
    _weigh(f"after {options.visits} visits in {found.visits_took:.0f} s", found.visited)


def _weigh(what: str, each: Weight) -> None:
    counts = f"{each.descriptors:.0f} descriptors, {each.tasks:.0f} tasks, {each.clients:.0f} clients"
    print(f"{what}: {each.memory / 2**20:.1f} MiB, {counts}")


if __name__ == "__main__":
    main()
