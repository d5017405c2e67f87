"""Opening a device: what it is set to afterwards, who else may have it, and why it cannot be had."""

import errno
import fcntl
import os
import socket
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest

from adapters import limits
from gateway.service.devices.port import Port, open_port
from gateway.service.devices.wire import Wire
from tests.gateway.service.devices.lines import Machine, read


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    made = Machine(tmp_path / "tty")
    yield made
    made.unplug()


def refusal(path: Path | str, **settings: Any) -> str:
    with pytest.raises(OSError) as caught:
        open_port(Wire(str(path), **settings)).close()
    assert caught.value.filename == str(path)
    return str(caught.value.strerror)


def test_what_is_set_is_read_back(machine: Machine) -> None:
    """A Linux pty keeps speed, CSTOPB, PARODD, CRTSCTS and IXON; it is always CS8 without PARENB."""
    wire = Wire(str(machine.link), 1_200, 7, "odd", 2, "rtscts", drop=False)
    with closing(open_port(wire)) as port:
        found: list[Any] = termios.tcgetattr(port.descriptor)
        assert found[4] == found[5] == termios.B1200
        assert found[2] & termios.CSTOPB
        assert found[2] & termios.CRTSCTS
        assert found[2] & termios.PARODD
        assert not found[2] & termios.HUPCL
        assert found[3] & (termios.ICANON | termios.ECHO | termios.ISIG) == 0
        assert os.get_blocking(port.descriptor) is False
        assert port.missing == ("7 data bits", "odd parity")


def test_xonxoff_is_the_systems_own(machine: Machine) -> None:
    with closing(open_port(Wire(str(machine.link), handshake="xonxoff"))) as port:
        machine.say(b"\x13")  # DC3: IEEE Std 1003.1, IXON: output is suspended
        until = time.monotonic() + 5
        with pytest.raises(BlockingIOError):
            while time.monotonic() < until:
                os.write(port.descriptor, b"h")
        before = machine.take()
        time.sleep(0.05)
        assert machine.take() == b""
        machine.say(b"\x11")
        while time.monotonic() < until:
            with suppress(BlockingIOError):
                os.write(port.descriptor, b"on")
                break
        assert machine.got(2) == b"on"
        assert set(before) <= {ord("h")}
        with pytest.raises(BlockingIOError):  # neither of the two is input
            os.read(port.descriptor, 10)


def test_all_bytes_pass_without_a_handshake(machine: Machine) -> None:
    every = bytes(range(256))
    with closing(open_port(Wire(str(machine.link)))) as port:
        machine.say(every)
        assert read(port.descriptor, 257) == every + b"\xff"  # the last one is marked as a whole one: PARMRK
        machine.say(every)
        time.sleep(0.05)
        assert port.read() == every
        assert port.read() == b""
        os.write(port.descriptor, every)
        assert machine.got(256) == every


def test_two_do_not_share_it(machine: Machine) -> None:
    with closing(open_port(Wire(str(machine.link)))):
        assert refusal(machine.link) == "another program is using it"
    open_port(Wire(str(machine.link))).close()


def test_another_program_that_locks_it_is_seen(machine: Machine) -> None:
    script = (
        "import fcntl, sys; f = open(sys.argv[1], 'rb', 0); fcntl.flock(f, 2); print(1, flush=True); input()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(machine.link)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "1\n"
    assert refusal(machine.link) == "another program is using it"
    other.communicate("\n", timeout=10)
    open_port(Wire(str(machine.link))).close()


def test_it_is_exclusive_while_it_is_open(machine: Machine) -> None:
    """TIOCEXCL (common practice): opening it again is EBUSY for everybody but root."""
    script = "import os, sys; os.setuid(65534); os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)"
    device = machine.link.resolve()
    device.chmod(0o666)

    def other() -> str:
        done = subprocess.run(
            [sys.executable, "-c", script, str(device)], capture_output=True, text=True, check=False
        )
        return done.stderr

    if os.geteuid():
        pytest.skip("ROOT IS NEEDED to try as another user")
    assert other() == ""
    port = open_port(Wire(str(device)))
    holds = os.open(device, os.O_RDWR | os.O_NOCTTY)  # so that the terminal lives on after the close
    assert f"[Errno {errno.EBUSY}]" in other()
    port.close()
    assert other() == ""
    os.close(holds)


def test_what_is_no_serial_device(tmp_path: Path) -> None:
    plain, fifo, unix = tmp_path / "plain", tmp_path / "fifo", tmp_path / "socket"
    plain.write_text("as it was")
    os.mkfifo(fifo)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(unix))
        assert refusal(unix) == "it is not there"
    for path in (tmp_path, plain, fifo, Path("/dev/null")):
        assert refusal(path) == "it is no serial device"
    assert plain.read_text() == "as it was"


def test_what_is_not_there(tmp_path: Path) -> None:
    assert refusal(tmp_path / "nothing") == "it is not there"
    (tmp_path / "dangling").symlink_to("nothing")
    assert refusal(tmp_path / "dangling") == "it is not there"


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (errno.EACCES, "this user may not open it; is it in the device's group (often dialout)?"),
        (errno.EBUSY, "another program is using it"),
        (errno.ENXIO, "it is not there"),
        (errno.EMFILE, os.strerror(errno.EMFILE)),
    ],
)
def test_what_the_system_refuses(monkeypatch: pytest.MonkeyPatch, number: int, sentence: str) -> None:
    """Root may open anything: so the opener is a fake one."""

    def refuses(path: str, flags: int) -> int:
        assert flags & os.O_NONBLOCK, "opening must not wait for a carrier"
        assert flags & os.O_NOCTTY, "a carrier that falls must not end the gateway"
        raise OSError(number, os.strerror(number), path)

    monkeypatch.setattr(os, "open", refuses)
    assert refusal("/dev/example") == sentence


@pytest.mark.parametrize("setting", ["carrier", "drop"])
def test_a_pseudo_terminal_has_no_modem_lines(machine: Machine, setting: str) -> None:
    assert "no modem lines" in refusal(machine.link, **{setting: True})


def test_nothing_stays_open_where_it_cannot_be_had(tmp_path: Path, machine: Machine) -> None:
    def count() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    plain = tmp_path / "plain"
    plain.touch()
    before = count()
    for _ in range(20):
        refusal(plain)
        refusal(machine.link, carrier=True)
        open_port(Wire(str(machine.link))).close()
    assert count() == before


def test_a_device_that_fails_to_close_is_closed(
    tmp_path: Path, machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As close(2) may tell of one that is lost; the descriptor is gone all the same."""
    close, closed = os.close, list[int]()

    def fails(descriptor: int) -> None:
        close(descriptor)
        closed.append(descriptor)
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    plain = tmp_path / "plain"
    plain.touch()
    port = open_port(Wire(str(machine.link)))
    monkeypatch.setattr("gateway.service.devices.port.os.close", fails)
    port.close()
    assert refusal(plain) == "it is no serial device"
    assert len(closed) == 2


class Lines:
    """The ioctls of modem lines and queue, as a driver would answer them."""

    def __init__(self) -> None:
        self.lines = 0
        self.queued = 0

    def ioctl(self, descriptor: int, request: int, given: bytes = b"") -> bytes:
        number = struct.unpack("@i", given)[0] if given else 0
        if request == termios.TIOCMGET:
            number = self.lines
        elif request == termios.TIOCMBIS:
            self.lines |= number
        elif request == termios.TIOCMBIC:
            self.lines &= ~number
        elif request == termios.TIOCOUTQ:
            number = self.queued
        return struct.pack("@i", number)


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Lines:
    made = Lines()
    monkeypatch.setattr(fcntl, "ioctl", made.ioctl)
    return made


def test_modem_lines(driver: Lines) -> None:
    """TIA-232: DCD is circuit CF, DTR circuit CD; the bits are Linux's, from memory."""
    port = Port(-1, Wire("x", carrier=True, drop=True))
    driver.lines = 0x04 | 0x20 | 0x100  # RTS, CTS, DSR
    assert not port.carrier()
    driver.lines |= 0x40
    assert port.carrier()
    port.terminal_ready(True)
    assert driver.lines == 0x02 | 0x04 | 0x20 | 0x40 | 0x100
    port.terminal_ready(False)
    assert driver.lines == 0x04 | 0x20 | 0x40 | 0x100


@pytest.mark.parametrize(
    ("speed", "ahead"), [(300, limits.DEVICE_AHEAD_BYTES), (9_600, 288), (115_200, 3_456)]
)
def test_the_system_gets_no_more_than_a_moment_ahead(driver: Lines, speed: int, ahead: int) -> None:
    """10 bits a character: 0.3 s are 288 characters at 9,600 bits a second."""
    port = Port(-1, Wire("x", speed))
    assert port.room() == ahead
    driver.queued = ahead // 2
    assert port.room() == ahead - ahead // 2
    driver.queued = ahead // 2 + 1
    assert port.room() == 0
    driver.queued = 100_000
    assert port.room() == 0


def test_what_was_sent_is_there_after_closing(machine: Machine) -> None:
    port = open_port(Wire(str(machine.link)))
    assert os.write(port.descriptor, b"x" * 10_000) == 10_000  # more than is brought over unread
    port.close()
    assert machine.got(10_000) == b"x" * 10_000


@pytest.mark.parametrize(("queued", "flushes"), [(0, []), (1, [termios.TCOFLUSH])])
def test_what_a_line_has_not_taken_is_dropped(
    driver: Lines, monkeypatch: pytest.MonkeyPatch, queued: int, flushes: list[int]
) -> None:
    """Closing a line that is held waits for it (on Linux 30 s, from memory)."""
    found: list[int] = []
    monkeypatch.setattr(termios, "tcflush", lambda _, queue: found.append(queue))
    driver.queued = queued
    Port(os.open("/dev/null", os.O_RDWR), Wire("x")).close()
    assert found == flushes


def test_what_came_is_forgotten(machine: Machine) -> None:
    with closing(open_port(Wire(str(machine.link)))) as port:
        machine.say(b"RING\r\n")
        time.sleep(0.05)
        port.discard()
        with pytest.raises(BlockingIOError):
            os.read(port.descriptor, 10)


def test_a_device_that_goes_while_its_lines_are_asked(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EIO is no word about modem lines."""

    def gone(_: Port) -> bool:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(Port, "carrier", gone)
    assert refusal(machine.link, carrier=True) == "it is not there"
