"""A thousand clients at their own paces for a minute: python -m tests.bench.bench_pace

`headrace serve` on one processor; a thousand clients, each at one of nine paces, in a process on the other; a
third process asks NOOP without a pace, before and meanwhile. Shown: the worst error of a rate over the time,
whether any byte came early, the gateway's share of its processor, how long a NOOP took, and memory.
"""

import argparse
import json
import os
import resource
import selectors
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from tests.bench.bench_ask import FAR, RUN_PROTOCOL, Client, peak, pin, process

PACES = (30, 60, 120, 240, 300, 480, 960, 1_200, 1_920)
ROWS = 13_000  # records of ten bytes with their ends: enough for the fastest
DOCUMENT = json.dumps([{"n": number} for number in range(ROWS)]).encode()
CATALOGUE = """
[gateway]
state = "{state}"
[[listen]]
port = 0
[source.rows]
url = "{url}"
rows = "$[*]"
keep = "1h"
[[source.rows.field]]
name = "N"
at = "$.n"
kind = "int"
width = 8
"""
PROBE = """
import sys, time
from tests.bench.bench_ask import Client, pin
pin(0, servers=False)
client, seconds, times = Client(int(sys.argv[1]), b"NOOP\\r\\n", True), float(sys.argv[2]), []
until = time.monotonic() + seconds
while time.monotonic() < until:
    times.append(client.ask())
    time.sleep(0.02)
times = sorted(each * 1000 for each in times)
count = len(times)
print(f"{times[count // 2]:.2f} {times[count * 99 // 100]:.2f} {times[-1]:.2f} {count}")
"""


class Paced:
    """One client: what it has received, and when."""

    def __init__(self, port: int, pace: int) -> None:
        self.pace = pace
        self.socket = socket.create_connection(("127.0.0.1", port))
        self.socket.setblocking(False)
        self.received = 0
        self.early = 0.0  # seconds by which a byte came before its time, at most
        self.largest = 0
        self.first: tuple[float, int] | None = None  # when counting began, and what had come by then
        self.last = (0.0, 0)
        self.asked_at = 0.0

    def ask(self) -> None:
        self.asked_at = time.monotonic()
        self.socket.send(b"SET pace=%d\rASK rows\r" % self.pace)

    def receive(self, counting: bool) -> None:
        data = self.socket.recv(65_536)
        now = time.monotonic()
        assert data, "the gateway closed the line"
        self.received += len(data)
        self.early = max(self.early, (self.received - 1) / self.pace - (now - self.asked_at))
        if counting:
            self.largest = max(self.largest, len(data))
            self.first = self.first or (now, self.received)
            self.last = (now, self.received)

    @property
    def error(self) -> float:
        """Of the rate, relative."""
        assert self.first is not None
        seconds, count = self.last[0] - self.first[0], self.last[1] - self.first[1]
        return count / seconds / self.pace - 1


def processor_seconds(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def receive_for(selector: selectors.BaseSelector, seconds: float, counting: bool) -> None:
    until = time.monotonic() + seconds
    while (left := until - time.monotonic()) > 0:
        for key, _ in selector.select(left):
            key.data.receive(counting)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--clients", type=int, default=999)
    options.add_argument("--seconds", type=float, default=60)
    chosen = options.parse_args()
    resource.setrlimit(resource.RLIMIT_NOFILE, (4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
    pin(0, servers=False)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        program = folder / "far.py"
        program.write_text(FAR.format(body=DOCUMENT) + RUN_PROTOCOL)
        far = stack.enter_context(process(str(program), ready="stdout"))[1]
        config = folder / "headrace.toml"
        config.write_text(CATALOGUE.format(state=folder / "state", url=f"http://127.0.0.1:{far}/rows.json"))
        serve = ("-m", "gateway.commands.main", "serve", "--config", str(config))
        gateway, port = stack.enter_context(process(*serve, ready="stderr"))

        def probe(seconds: float) -> "subprocess.Popen[str]":
            command = [sys.executable, "-c", PROBE, str(port), str(seconds)]
            return subprocess.Popen(command, text=True, stdout=subprocess.PIPE)

        Client(port, b"ASK rows\r\n", True).ask()  # from now on it is kept
        before = probe(5).communicate()[0].split()
        clients = [Paced(port, PACES[number % len(PACES)]) for number in range(chosen.clients)]
        selector = selectors.DefaultSelector()
        for each in clients:
            selector.register(each.socket, selectors.EVENT_READ, each)
        memory = peak(gateway.pid)
        for each in clients:
            each.ask()
            receive_for(selector, 0.002, counting=False)
        receive_for(selector, 3, counting=False)
        meanwhile, spent, began = probe(chosen.seconds), processor_seconds(gateway.pid), time.monotonic()
        receive_for(selector, chosen.seconds, counting=True)
        spent, seconds = processor_seconds(gateway.pid) - spent, time.monotonic() - began
        for pace in PACES:
            some = [each for each in clients if each.pace == pace]
            worst = max((each.error for each in some), key=abs)
            middle = statistics.median(each.error for each in some)
            largest = max(each.largest for each in some)
            print(f"pace {pace:5}: error {middle:+.3%}, worst {worst:+.3%}; {largest} bytes at once at most")
        print(f"early by {max(0.0, *(each.early for each in clients)) * 1000:.3f} ms at most")
        print(f"{len(clients)} clients, {sum(PACES) / len(PACES):.0f} characters a second on average")
        print(f"the gateway's processor: {spent / seconds:.0%}")
        print(f"memory: {memory / 1024:.0f} MiB connected, {peak(gateway.pid) / 1024:.0f} MiB after a minute")
        for each in clients:
            each.socket.close()  # replies in flight would keep the gateway from stopping at once
        for name, found in (("before", before), ("meanwhile", meanwhile.communicate()[0].split())):
            median, rare, worst_ms, count = found
            print(f"NOOP {name}: median {median} ms, 99 % {rare} ms, worst {worst_ms} ms, of {count}")


if __name__ == "__main__":
    main()
