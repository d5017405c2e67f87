"""One device for the gateway's life: there, gone, back, held by another program, hung up and shut."""

import asyncio
import errno
import logging
import os
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from adapters import limits
from gateway.service.devices.device import Device, Opened, _readable
from gateway.service.devices.port import Port, open_port
from gateway.service.devices.wire import Wire
from tests.gateway.service.devices.lines import Machine, Noting, until

QUICK = 0.05  # seconds: the limits of the tests, so that they wait for little


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("RETRY", "STEADY", "REST", "DROP"):
        monkeypatch.setattr(limits, f"DEVICE_{name}_SECONDS", QUICK)
    monkeypatch.setattr(limits, "DEVICE_CARRIER_SECONDS", 0.01)


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    made = Machine(tmp_path / "tty")
    yield made
    made.unplug()


class Stand:
    """A device whose sessions are noted."""

    def __init__(self, wire: Wire, opening: Callable[[Wire], Opened] = open_port) -> None:
        self.sessions: list[Noting] = []
        self.device = Device(wire, self._session, opening)

    def _session(self) -> Noting:
        self.sessions.append(Noting())
        return self.sessions[-1]

    @property
    def last(self) -> Noting:
        return self.sessions[-1]

    def end(self) -> None:
        """As a connection does after BYE."""
        assert self.last.transport is not None
        self.last.transport.close()


@asynccontextmanager
async def serving(wire: Wire, opening: Callable[[Wire], Opened] = open_port) -> AsyncIterator[Stand]:
    stand = Stand(wire, opening)
    stand.device.start()
    try:
        yield stand
    finally:
        await asyncio.wait_for(stand.device.stop(0.1), 5)
    assert not stand.device.up


def descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


# Without a carrier


async def test_the_line_is_up_with_the_device(machine: Machine) -> None:
    async with serving(Wire(str(machine.link))) as stand:
        await until(lambda: stand.device.up and stand.last.told == ["made"])
        machine.say(b"hello")
        await until(lambda: stand.last.data == b"hello")
        assert stand.last.transport is not None
        stand.last.transport.write(b"answer")
        assert await machine.hear(6) == b"answer"
        await asyncio.sleep(4 * QUICK)  # of silence
        assert len(stand.sessions) == 1
    assert stand.last.told == ["made", "lost"]


async def test_the_next_session_begins_with_the_next_byte(machine: Machine) -> None:
    async with serving(Wire(str(machine.link))) as stand:
        await until(lambda: stand.device.up)
        await asyncio.sleep(0)
        stand.end()
        await until(lambda: not stand.device.up)
        await asyncio.sleep(4 * QUICK)
        assert len(stand.sessions) == 1
        machine.say(b"again")
        await until(lambda: len(stand.sessions) == 2 and stand.last.data == b"again")
        assert stand.sessions[0].data == b""
        assert stand.sessions[0].error is None


async def test_what_comes_between_two_sessions_is_the_next_ones(machine: Machine) -> None:
    async with serving(Wire(str(machine.link))) as stand:
        await until(lambda: stand.device.up)
        await asyncio.sleep(0)
        stand.end()
        for byte in b"early bird":
            machine.say(bytes([byte]))
            await asyncio.sleep(0.005)
        await until(lambda: len(stand.sessions) == 2 and stand.last.data == b"early bird")


async def test_sessions_that_end_at_once_do_not_follow_each_other_at_once(machine: Machine) -> None:
    """As where the gateway is full, and the machine says something all the time."""

    class Ending(Noting):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            super().connection_made(transport)
            transport.close()

    made: list[Noting] = []
    device = Device(Wire(str(machine.link)), lambda: made.append(Ending()) or made[-1])  # type: ignore[func-returns-value]
    device.start()
    began = time.monotonic()
    while time.monotonic() - began < 10 * QUICK:
        machine.say(b"x")
        await asyncio.sleep(0.002)
    elapsed = time.monotonic() - began
    await device.stop()
    assert 2 <= len(made) <= elapsed / QUICK + 2


# Gone and back


def told(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [record.getMessage() for record in caplog.records if record.levelno >= logging.WARNING]


async def test_unplugged_and_plugged_in_again(machine: Machine, caplog: pytest.LogCaptureFixture) -> None:
    path = str(machine.link)
    before = descriptors()
    async with serving(Wire(path, 1_200)) as stand:
        for turn in (1, 2):
            await until(lambda turn=turn: len(stand.sessions) == turn and stand.last.told == ["made"])  # type: ignore[misc]
            machine.say(b"hello")
            await until(lambda: stand.last.data == b"hello")
            await asyncio.sleep(2 * QUICK)
            machine.unplug()
            await until(lambda: stand.last.told == ["made", "lost"])
            assert isinstance(stand.last.error, OSError)
            await asyncio.sleep(4 * QUICK)
            machine.plug()
        await until(lambda: len(stand.sessions) == 3)
        await asyncio.sleep(2 * QUICK)
    gone = f"{path}: it is not there; tried again every {QUICK} s"
    back = f"{path} is back: 1200 8N1"
    assert told(caplog) == [gone, back, gone, back]
    assert descriptors() == before


async def test_half_a_reply_is_not_sent_to_the_next_machine(machine: Machine) -> None:
    async with serving(Wire(str(machine.link))) as stand:
        await until(lambda: stand.device.up and stand.last.transport)
        assert stand.last.transport is not None
        stand.last.transport.write(b"x" * 100_000)
        await asyncio.sleep(0.02)
        machine.unplug()
        await until(lambda: not stand.device.up)
        machine.plug()
        await until(lambda: stand.device.up)
        await asyncio.sleep(2 * QUICK)
        assert machine.take() == b""
        machine.say(b"hello")
        await until(lambda: stand.last.data == b"hello")


async def test_unplugged_between_two_sessions(machine: Machine) -> None:
    async with serving(Wire(str(machine.link))) as stand:
        await until(lambda: stand.device.up)
        await asyncio.sleep(0)
        stand.end()
        await asyncio.sleep(3 * QUICK)
        machine.unplug()
        machine.plug()
        await until(lambda: len(stand.sessions) == 2 and stand.device.up)
        machine.say(b"hello")
        await until(lambda: stand.last.data == b"hello")


async def test_absent_at_the_start(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    async with serving(Wire(str(tmp_path / "tty"))) as stand:
        spent = sum(os.times()[:2])
        await asyncio.sleep(10 * QUICK)
        assert sum(os.times()[:2]) - spent < 5 * QUICK, "waiting costs next to no processor time"
        assert (len(told(caplog)), stand.sessions) == (1, [])
        machine = Machine(tmp_path / "tty")
        await until(lambda: stand.device.up)
    machine.unplug()


async def test_a_device_that_comes_and_goes_is_told_of_once(
    machine: Machine, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A loose plug: it never stays for long enough to count as back."""
    monkeypatch.setattr(limits, "DEVICE_STEADY_SECONDS", 10.0)
    async with serving(Wire(str(machine.link))) as stand:
        for count in (1, 2, 3):
            await until(lambda count=count: len(stand.sessions) == count)  # type: ignore[misc]
            machine.unplug()
            machine.plug()
        await until(lambda: len(stand.sessions) == 4)
    assert len(told(caplog)) == 1


async def test_each_reason_is_told_once(caplog: pytest.LogCaptureFixture) -> None:
    """A fake opener, since root may open anything."""
    numbers = [errno.ENOENT, errno.EACCES] * 4
    sentences = {errno.ENOENT: "not there", errno.EACCES: "not allowed"}

    def opening(wire: Wire) -> Port:
        number = numbers.pop() if numbers else errno.ENOENT
        raise OSError(number, sentences[number], wire.path)

    async with serving(Wire("/dev/example"), opening):
        await until(lambda: not numbers)
    assert [each.split("; ")[0] for each in told(caplog)] == [
        "/dev/example: not allowed",
        "/dev/example: not there",
    ]


@pytest.mark.parametrize("kind", ["folder", "file"])
async def test_what_is_no_device(kind: str, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = tmp_path / "tty"
    if kind == "folder":
        path.mkdir()
    else:
        path.write_text("as it was")
    async with serving(Wire(str(path))) as stand:
        await until(lambda: told(caplog))
        await asyncio.sleep(3 * QUICK)
    assert stand.sessions == []
    assert ["no serial device" in each for each in told(caplog)] == [True]


async def test_another_program_has_it(machine: Machine, caplog: pytest.LogCaptureFixture) -> None:
    other = open_port(Wire(str(machine.link)))
    async with serving(Wire(str(machine.link))) as stand:
        await asyncio.sleep(3 * QUICK)
        assert stand.sessions == []
        other.close()
        await until(lambda: stand.device.up)
    assert "another program is using it" in told(caplog)[0]


async def test_settings_that_it_does_not_take_are_told_once(
    machine: Machine, caplog: pytest.LogCaptureFixture
) -> None:
    async with serving(Wire(str(machine.link), bits=7, parity="even")) as stand:
        await until(lambda: stand.device.up)
        machine.unplug()
        machine.plug()
        await until(lambda: len(stand.sessions) == 2)
    assert told(caplog).count(f"{machine.link} does not take 7 data bits, even parity") == 1


async def test_a_maker_that_fails_does_not_end_it(machine: Machine, caplog: pytest.LogCaptureFixture) -> None:
    made: list[Noting] = []
    faults = [ZeroDivisionError()]

    def make() -> Noting:
        if faults:
            raise faults.pop()
        made.append(Noting())
        return made[-1]

    before = descriptors()
    device = Device(Wire(str(machine.link)), make)
    device.start()
    await until(lambda: made and made[-1].told)
    await device.stop(0)
    assert told(caplog) == [f"{machine.link} failed"]
    assert descriptors() == before


@pytest.mark.parametrize("where", ["opening", "closing", "resting"])
async def test_a_fault_of_our_own_does_not_end_it(
    where: str, machine: Machine, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = [RuntimeError("made to fail")]

    class Closing(Port):
        def close(self) -> None:
            super().close()
            if where == "closing" and faults:
                raise faults.pop()

    def opening(wire: Wire) -> Opened:
        if where == "opening" and faults:
            raise faults.pop()
        if where == "resting" and faults:
            raise OSError(errno.ENOENT, "it is not there")
        port = open_port(wire)
        return Closing(port.descriptor, wire)

    async def rest(seconds: float) -> None:
        if where == "resting" and faults and asyncio.current_task() is devices[0]._task:
            raise faults.pop()
        await resting(seconds)

    resting, devices = asyncio.sleep, list[Device]()
    before = descriptors()
    async with serving(Wire(str(machine.link)), opening) as stand:
        devices.append(stand.device)
        with monkeypatch.context() as patch:
            patch.setattr("gateway.service.devices.device.asyncio.sleep", rest)
            if where == "closing":
                await until(lambda: stand.device.up)
                machine.unplug()
                machine.plug()
                await until(lambda: not faults)
            await until(lambda: not faults and stand.device.up)
        machine.say(b"hello")
        await until(lambda: stand.last.data == b"hello")
    assert told(caplog).count(f"{machine.link} failed") == 1
    assert descriptors() == before


async def test_a_wait_that_breaks_off_is_no_silence(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the same would be asked again at once, and again."""

    async def fails(_: asyncio.Event) -> None:
        raise TimeoutError

    with monkeypatch.context() as patch:
        patch.setattr(asyncio.Event, "wait", fails)
        with pytest.raises(TimeoutError):
            await _readable(machine.master, 5)
    slave = os.open(machine.link, os.O_RDWR | os.O_NOCTTY)
    assert not await _readable(machine.master, 0.01)
    os.close(slave)


# With a carrier, as a driver with modem lines would tell of it (TIA-232: DCD is circuit CF, DTR circuit CD)


class Modem:
    """Gives a pseudo terminal modem lines."""

    def __init__(self) -> None:
        self.carries = False
        self.ready: list[bool] = []
        self.lost = False

    def opening(self, wire: Wire) -> Port:
        modem = self

        class WithLines(Port):
            def carrier(self) -> bool:
                if modem.lost:
                    raise OSError(errno.EIO, "Input/output error")
                return modem.carries

            def terminal_ready(self, up: bool) -> None:
                modem.ready.append(up)
                if not up:
                    modem.carries = False  # a modem hangs up then (common practice)

        port = WithLines(os.open(wire.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK), wire)
        port.prepare()
        return port


async def test_the_line_is_up_while_the_carrier_is(machine: Machine) -> None:
    modem = Modem()
    async with serving(Wire(str(machine.link), carrier=True), modem.opening) as stand:
        machine.say(b"RING\r\n")
        await asyncio.sleep(3 * QUICK)
        assert stand.sessions == []
        for count in (1, 2):
            modem.carries = True
            await until(lambda count=count: len(stand.sessions) == count and stand.last.told)  # type: ignore[misc]
            machine.say(b"hello")
            await until(lambda: stand.last.data == b"hello")  # and not RING
            modem.carries = False
            await until(lambda: not stand.device.up)
            assert stand.last.told == ["made", "lost"]
            assert stand.last.error is None
            machine.say(b"NO CARRIER\r\n")
            await asyncio.sleep(2 * QUICK)
    assert modem.ready == []


async def test_a_session_that_ends_hangs_up(machine: Machine) -> None:
    modem = Modem()
    async with serving(Wire(str(machine.link), carrier=True, drop=True), modem.opening) as stand:
        modem.carries = True
        await until(lambda: stand.device.up and stand.last.transport)
        assert stand.last.transport is not None
        stand.last.transport.write(b"goodbye")
        stand.end()
        await until(lambda: modem.ready[-2:] == [False, True])
        assert await machine.hear(7) == b"goodbye"
        await asyncio.sleep(3 * QUICK)
        assert len(stand.sessions) == 1
        modem.carries = True
        await until(lambda: len(stand.sessions) == 2)


async def test_a_carrier_that_stays_waits_for_a_byte(machine: Machine) -> None:
    modem = Modem()
    async with serving(Wire(str(machine.link), carrier=True), modem.opening) as stand:
        modem.carries = True
        await until(lambda: stand.device.up and stand.last.transport)
        stand.end()
        await asyncio.sleep(3 * QUICK)
        assert len(stand.sessions) == 1
        machine.say(b"more")
        await until(lambda: len(stand.sessions) == 2 and stand.last.data == b"more")


async def test_a_device_lost_with_its_carrier(machine: Machine, caplog: pytest.LogCaptureFixture) -> None:
    modem = Modem()
    async with serving(Wire(str(machine.link), carrier=True), modem.opening) as stand:
        modem.carries = True
        await until(lambda: stand.device.up and stand.last.transport)
        modem.lost = True
        await until(lambda: told(caplog))
        assert stand.last.told == ["made", "lost"]
        modem.lost = False
        await until(lambda: len(stand.sessions) == 2)
    assert "it is not there" in told(caplog)[0]


# Shutting and stopping


async def test_what_is_shut_begins_no_session(machine: Machine) -> None:
    async with serving(Wire(str(machine.link))) as stand:
        await until(lambda: stand.device.up and stand.last.transport)
        stand.device.shut()
        machine.say(b"hello")
        await until(lambda: stand.last.data == b"hello")
        stand.end()
        machine.say(b"too late")
        await asyncio.sleep(3 * QUICK)
        assert len(stand.sessions) == 1
    open_port(Wire(str(machine.link))).close()


async def test_a_fault_behind_its_end_does_not_begin_it_anew(
    machine: Machine, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[Device] = []

    class Failing(Port):
        def close(self) -> None:
            super().close()
            raise RuntimeError("made to fail")

    def opening(wire: Wire) -> Opened:
        return Failing(open_port(wire).descriptor, wire)

    async with serving(Wire(str(machine.link)), opening) as stand:
        await until(lambda: stand.device.up and stand.last.transport)
        monkeypatch.setattr(Device, "start", begun.append)
        stand.device.shut()
        stand.end()
        await until(lambda: told(caplog))
        await asyncio.sleep(3 * QUICK)
    assert told(caplog) == [f"{machine.link} failed"]
    assert not begun


async def test_stopping_lets_a_session_end(machine: Machine) -> None:
    stand = Stand(Wire(str(machine.link)))
    stand.device.start()
    await until(lambda: stand.device.up and stand.last.transport)
    assert stand.last.transport is not None
    stopping = asyncio.create_task(stand.device.stop(5))
    await asyncio.sleep(0.02)
    stand.last.transport.write(b"goodbye")
    stand.end()
    await asyncio.wait_for(stopping, 1)
    assert await machine.hear(7) == b"goodbye"


@pytest.mark.parametrize("moment", ["before", "absent", "waiting", "silent", "held"])
async def test_stopping_takes_no_longer_than_it_may(moment: str, machine: Machine) -> None:
    before = descriptors()
    if moment == "absent":
        machine.unplug()
        before = descriptors()
    stand = Stand(Wire(str(machine.link), handshake="xonxoff"))
    if moment != "before":
        stand.device.start()
        await asyncio.sleep(0.02)
    if moment == "waiting":
        stand.end()
        await asyncio.sleep(0.02)
    if moment == "held":
        assert stand.last.transport is not None
        machine.say(b"\x13")
        stand.last.transport.write(b"x" * 100_000)
        stand.end()
    began = time.monotonic()
    await stand.device.stop(0.2)
    assert time.monotonic() - began < 1.0
    assert descriptors() == before
    assert not stand.device.up
    await stand.device.stop()


@pytest.mark.parametrize("shut_before", [False, True])
@pytest.mark.parametrize("between", [False, True])
async def test_the_last_bytes_leave_before_it_is_closed(
    machine: Machine, between: bool, shut_before: bool
) -> None:
    """A driver whose queue is emptied later; the one of a pseudo terminal is never told of."""
    closed_with: list[int] = []

    class Queue(Port):
        full_until = 0.0

        def queued(self) -> int:
            return 5 if time.monotonic() < self.full_until else 0

        def close(self) -> None:
            closed_with.append(self.queued())
            super().close()

    ports: list[Queue] = []

    def opening(wire: Wire) -> Port:
        ports.append(Queue(os.open(wire.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK), wire))
        return ports[-1]

    async with serving(Wire(str(machine.link)), opening) as stand:
        await until(lambda: stand.device.up and stand.last.transport)
        stand.end()
        if between:
            await asyncio.sleep(3 * QUICK)
        ports[0].full_until = time.monotonic() + 0.3
        if shut_before:
            stand.device.shut()
            await asyncio.sleep(0.02)
    assert closed_with == [0]
    assert time.monotonic() >= ports[0].full_until


async def test_a_break_between_two_sessions_begins_none(machine: Machine) -> None:
    """It is read as no byte."""

    class Breaks(Port):
        def read(self) -> bytes:
            data = super().read()
            return b"" if data == b"BREAK" else data

    def opening(wire: Wire) -> Port:
        port = Breaks(os.open(wire.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK), wire)
        port.prepare()
        return port

    async with serving(Wire(str(machine.link)), opening) as stand:
        await until(lambda: stand.device.up and stand.last.transport)
        stand.end()
        await until(lambda: not stand.device.up)
        await asyncio.sleep(2 * QUICK)
        machine.say(b"BREAK")
        await asyncio.sleep(2 * QUICK)
        assert len(stand.sessions) == 1
        machine.say(b"more")
        await until(lambda: len(stand.sessions) == 2 and stand.last.data == b"more")
