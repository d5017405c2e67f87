"""`headrace serve` at a serial device: a pseudo terminal, whose other end is the machine."""

import asyncio
import os
import re
import select
import signal
import time
import tty
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.gateway.commands.processes import serving
from tests.gateway.service.callers.callers import Caller, free_port
from tests.gateway.service.devices.lines import Machine
from tests.gateway.service.streams.far_ends import far_end

PATIENCE = 30  # seconds


def heard(machine: int, count: int) -> bytes:
    """So many bytes from the gateway; what has come where they do not come in time."""
    data, until = b"", time.monotonic() + PATIENCE
    while len(data) < count and select.select([machine], [], [], max(0.0, until - time.monotonic()))[0]:
        data += os.read(machine, count - len(data))
    return data


def test_a_machine_at_a_device(tmp_path: Path) -> None:
    machine, device = os.openpty()
    tty.setraw(device)
    path = os.ttyname(device)
    text = f'[[listen]]\ndevice = "{path}"\nspeed = 1200\nprofile = "narrow"\n[profile.narrow]\ncols = 16\n'
    (tmp_path / "headrace.toml").write_text(text)
    try:
        with serving(folder=tmp_path) as gateway:
            gateway.wait_for(re.escape(f"listening on {path}, 1200 8N1 (narrow)"))
            os.write(machine, b"NOOP here\r")
            assert heard(machine, 36) == b"200 00001 016 ..\r\nhere            \r\n"
            (tmp_path / "headrace.toml").write_text(text.replace("cols = 16", "cols = 20"))
            gateway.process.send_signal(signal.SIGHUP)
            gateway.wait_for("reload")
            os.write(machine, b"SET narrow\rNOOP here\r")
            assert (
                heard(machine, 18 + 40) == b"200 00000 000 ..\r\n200 00001 020 ..\r\nhere".ljust(56) + b"\r\n"
            )
            assert gateway.end(signal.SIGTERM) == 0
        assert heard(machine, 36).startswith(b"421 00001 0")
    finally:
        os.close(machine)
        os.close(device)


def test_streams_at_a_device_that_is_unplugged_and_plugged_in_again(tmp_path: Path) -> None:
    """A call out and a call in each end with the device; requests go on with the next one."""
    ended: list[bytes] = []

    async def watch(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"name: ")
        ended.append(await reader.read())

    machine, number = Machine(tmp_path / "wire"), free_port()
    with far_end(watch) as far, ExitStack() as calls:
        (tmp_path / "headrace.toml").write_text(
            f'[[listen]]\ndevice = "{machine.link}"\nspeed = 19200\n[hear.{number}]\n'
            f'[place.board]\nbase = "tcp://127.0.0.1:{far}"\n'
        )
        try:
            with serving(folder=tmp_path) as gateway:
                gateway.wait_for("listening on")
                os.write(machine.master, b"TALK board:\r")
                assert heard(machine.master, 24) == b"200 00000 000 ..\r\nname: "
                os.write(machine.master, b"me\r")
                machine.unplug()
                until = time.monotonic() + PATIENCE
                while not ended and time.monotonic() < until:
                    time.sleep(0.02)
                assert ended in ([b"me\r\n"], [b""])  # what the device had not handed over yet goes with it
                machine.plug()
                gateway.wait_for("is back")
                os.write(machine.master, b"HEAR %d\r" % number)
                assert heard(machine.master, 18) == b"150 00000 000 ..\r\n"
                caller = calls.enter_context(closing_call(number))
                assert heard(machine.master, 60) == b"200 00001 040 ..\r\n" + b"127.0.0.1".ljust(40) + b"\r\n"
                caller.say(b"hello\n")
                assert heard(machine.master, 7) == b"hello\r\n"
                machine.unplug()
                caller.ends()
                machine.plug()
                gateway.wait_for("is back")
                os.write(machine.master, b"NOOP here\r")
                assert heard(machine.master, 60) == b"200 00001 040 ..\r\n" + b"here".ljust(40) + b"\r\n"
                assert gateway.end(signal.SIGTERM) == 0
        finally:
            machine.unplug()


@contextmanager
def closing_call(port: int) -> Iterator[Caller]:
    caller = Caller(port)
    try:
        yield caller
    finally:
        caller.hang_up()
