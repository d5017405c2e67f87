"""A counter called over a serial device; socat's pair of pseudo terminals is the cable."""

import asyncio
import os
import random
import shutil
import subprocess
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.gateway.service.counter.programs import TRANSFER_SECONDS
from tests.gateway.service.devices.lines import until
from tests.gateway.talking import running
from tests.gateway.wire.blocks.counterpart import needs_lrzsz

pytestmark = [
    needs_lrzsz,
    pytest.mark.skipif(
        shutil.which("socat") is None, reason="SOCAT IS MISSING: no serial pair (apt-get install socat)"
    ),
]
BODY = random.Random(7).randbytes(20_000)


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Path]:
    """The folder of `near`, the gateway's device, and `far`, the machine's."""
    ends = [f"PTY,link={tmp_path / each},raw,echo=0" for each in ("near", "far")]
    with subprocess.Popen(["socat", *ends], stderr=subprocess.DEVNULL) as process:
        yield tmp_path
        process.terminate()


def catalogue(folder: Path, *device: str) -> str:
    shelf = folder / "shelf"
    shelf.mkdir()
    (shelf / "a.bin").write_bytes(BODY)
    return f"""[gateway]
state = "{folder / "state"}"
[[listen]]
device = "{folder / "near"}"
speaks = "modem"
{chr(10).join(device)}
[place.club]
base = "file://{shelf}"
write = true
"""


class Machine:
    """The far end of the cable, and what it has heard."""

    def __init__(self, far: Path) -> None:
        self.end = os.open(far, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.end)

    def until(self, wanted: bytes) -> bytes:
        heard = b""
        while not heard.endswith(wanted):
            heard += os.read(self.end, 1)
        return heard

    async def ask(self, line: bytes, wanted: bytes) -> bytes:
        os.write(self.end, line + b"\r")
        async with asyncio.timeout(20):
            return await asyncio.to_thread(self.until, wanted)

    async def run(self, program: list[str], folder: Path) -> int:
        def run() -> int:
            return subprocess.run(
                program,
                cwd=folder,
                stdin=self.end,
                stdout=self.end,
                stderr=subprocess.DEVNULL,
                timeout=TRANSFER_SECONDS,
                check=False,
            ).returncode

        return await asyncio.to_thread(run)


async def test_there_and_back(cable: Path) -> None:
    text, mine = catalogue(cable), cable / "mine"
    mine.mkdir()
    await until(lambda: (cable / "near").exists() and (cable / "far").exists())
    async with running(text, cable):
        machine = Machine(cable / "far")
        await machine.ask(b"ATDTclub", b"> ")
        await machine.ask(b"READ a.bin", b"gives up.\r\n")
        assert await machine.run(["rb"], mine) == 0
        assert (mine / "a.bin").read_bytes() == BODY
        assert b"a.bin: 20000 bytes sent" in await asyncio.to_thread(machine.until, b"> ")
        await machine.ask(b"STORE b.bin", b"gives up.\r\n")
        assert await machine.run(["sb", "a.bin"], mine) == 0
        await asyncio.to_thread(machine.until, b"> ")
        assert (cable / "shelf" / "b.bin").read_bytes() == BODY
        os.close(machine.end)


@pytest.mark.parametrize("device", ['handshake = "xonxoff"', "bits = 7"])
async def test_a_device_that_does_not_carry_every_byte(cable: Path, device: str) -> None:
    text = catalogue(cable, device)
    await until(lambda: (cable / "near").exists() and (cable / "far").exists())
    async with running(text, cable):
        machine = Machine(cable / "far")
        await machine.ask(b"ATDTclub", b"> ")
        for line in (b"READ a.bin", b"STORE b.bin"):
            assert b"\r\nThis line " in await machine.ask(line, b"> ")
        os.close(machine.end)
