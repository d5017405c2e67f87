"""Two hundred calls at once for ten minutes: python -m tests.bench.bench_streams

`headrace serve` on one processor; in a process on the other, programs that call, at 960 and 240 characters a
second, by TALK over TCP and telnet and by a modem's commands, and the far ends that they call. Some far ends
say as much as is taken, read nothing, or reset the connection; some programs read nothing or reset theirs.
Every byte is checked. Shown are rates, lateness, what is held back, and the gateway's memory and processor.
"""

import argparse
import asyncio
import re
import resource
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.bench.bench_ask import peak, pin
from tests.bench.bench_pace import processor_seconds
from tests.faults.streams.crowd import PACES, Figures, catalogue, far_socket, run_load


@contextmanager
def serving(config: Path) -> Iterator[tuple[subprocess.Popen[str], list[int]]]:
    """A gateway in a process of its own, and its listeners' ports."""
    command = [sys.executable, "-m", "gateway.commands.main", "serve", "--config", str(config)]
    with subprocess.Popen(command, text=True, stderr=subprocess.PIPE) as child:
        try:
            assert child.stderr is not None
            lines = [child.stderr.readline() for _ in range(2 * len(PACES))]
            yield child, [int(re.findall(r":(\d+) ", line)[0]) for line in lines]
        finally:
            child.terminate()
            child.communicate(timeout=60)


def measure(count: int, seconds: float, *, pinned: bool) -> tuple[Figures, float]:
    """The figures of one run, and the gateway's share of a processor."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, max(soft, 4 * count)), hard))
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        far = {telnet: far_socket() for telnet in (False, True)}
        for own in far.values():
            stack.callback(own.close)
        config = folder / "headrace.toml"
        ports = (own.getsockname()[1] for own in far.values())
        config.write_text(catalogue(str(folder / "state"), *ports))
        gateway, doors = stack.enter_context(serving(config))
        if pinned:
            pin(0, servers=False)
            pin(gateway.pid, servers=True)
        spent = processor_seconds(gateway.pid)
        figures = asyncio.run(run_load(doors, far, count, seconds, lambda: peak(gateway.pid)))
        return figures, (processor_seconds(gateway.pid) - spent) / seconds


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--calls", type=int, default=200)
    options.add_argument("--seconds", type=float, default=600)
    chosen = options.parse_args()
    figures, share = measure(chosen.calls, chosen.seconds, pinned=True)
    print("\n".join(figures.lines()))
    print(f"the gateway's processor: {share:.0%}")
    for each in figures.wrong[:20]:
        print(each)


if __name__ == "__main__":
    main()
