"""`headrace serve` at a serial device: a pseudo terminal, whose other end is the machine."""

import os
import re
import select
import signal
import time
import tty
from pathlib import Path

from tests.gateway.commands.processes import serving

PATIENCE = 10  # seconds


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
