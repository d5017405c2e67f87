"""A client's line -> replies, taken apart by the contract's counts alone (CONTRACT section 2).

What does not come within a request's time, or is not of a reply's shape, is Malformed.
"""

import re
import select
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from gateway.wire.codes import CODES
from tests.gateway.service.devices.lines import Machine
from tests.torture.ground import WAIT

PATIENCE: Final = WAIT + 3
"""Seconds: `[gateway] wait`, and something for a busy machine."""
_STATUS: Final = re.compile(rb"(\d{3}) (\d{5}) (\d{3}) ([+.])([*SLC.])")
_WHAT: Final = 16
_END: Final = b"\r\n"
_OVER: Final = re.compile(rb"\r\n(\d{3} \d{5} \d{3} [+.][*SLC.]\r\n)")


class Malformed(Exception):
    """The client got what it cannot be expected to understand, or nothing in time."""


class CutShort(Malformed):
    """The connection was closed before a reply was whole."""


@dataclass(frozen=True, slots=True)
class Reply:
    """`code` is empty where the gateway has closed the connection instead."""

    code: str
    records: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.code or 'closed'} {'|'.join(each.strip() for each in self.records)}".strip()


CLOSED: Final = Reply("")


class Talk:
    """A connection. `hear` is the port at which calls come in."""

    def __init__(self, port: int, hear: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), PATIENCE)
        self._pending = b""
        self.hear = hear
        self.closed = False

    def ask(self, data: bytes) -> Reply:
        """The reply to one request."""
        self.send(data)
        return self.reply()

    def send(self, data: bytes) -> None:
        """Bytes, if the line is still there."""
        try:
            self._socket.sendall(data)
        except OSError:
            return  # what came before that is still to be read

    def reply(self, patience: float = PATIENCE) -> Reply:
        """The next reply, or CLOSED."""
        deadline = time.monotonic() + patience
        status = self._take(_WHAT + len(_END), deadline, begins=True)
        if not status:
            return CLOSED
        found = _STATUS.fullmatch(status[:-2])
        if found is None or status[-2:] != _END:
            raise Malformed(f"no status line: {status!r}")
        code, count, width = found[1].decode(), int(found[2]), int(found[3])
        if int(code) not in CODES or (count > 0) != (width > 0):
            raise Malformed(f"a status line that cannot be: {status!r}")
        records = []
        for _ in range(count):
            record = self._take(width + len(_END), deadline)
            if record[-2:] != _END or not re.fullmatch(rb"[ -~]*", record[:-2]):
                raise Malformed(f"no record of {width}: {record!r}")
            records.append(record[:-2].decode("ascii"))
        if code[0] in "45" and count != 1:
            raise Malformed(f"an error without its record: {status!r}")
        return Reply(code, tuple(records))

    def after_call(self, patience: float = PATIENCE) -> tuple[bytes, Reply]:
        """What comes through a raw stream, and the status line behind it; or all there is, and CLOSED."""
        deadline = time.monotonic() + patience
        while (found := _OVER.search(self._pending)) is None:
            if not self._more(deadline):
                through, self._pending = self._pending, b""
                return through, CLOSED
        through, self._pending = self._pending[: found.start()], self._pending[found.start(1) :]
        return through, self.reply()

    def until(self, text: bytes, patience: float = PATIENCE) -> bool:
        """Whether that comes through a raw stream, before the stream or the connection ends."""
        deadline = time.monotonic() + patience
        while text not in self._pending:
            if _OVER.search(self._pending) is not None or not self._more(deadline):
                return False
        return True

    def comes(self, seconds: float) -> bool:
        """Whether anything is there, or comes, or the connection ends, within that time."""
        with suppress(Malformed):
            return bool(self._pending) or self._more(time.monotonic() + seconds) or True
        return False

    def still(self, seconds: float) -> bool:
        """Whether a raw stream goes on, with nothing coming through it for so long."""
        with suppress(Malformed):
            while _OVER.search(self._pending) is None and self._more(time.monotonic() + seconds):
                pass
            return False
        return True

    def plug(self) -> None:
        """The line is taken away and comes back, where it is one for which that can be."""

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def _take(self, count: int, deadline: float, *, begins: bool = False) -> bytes:
        while len(self._pending) < count:
            if not self._more(deadline):
                if begins and not self._pending:
                    return b""
                raise CutShort(f"closed within a reply: {self._pending!r}")
        taken, self._pending = self._pending[:count], self._pending[count:]
        return taken

    def _more(self, deadline: float) -> bool:
        """More bytes; False where the connection was closed. Malformed where neither comes."""
        self._socket.settimeout(max(0.001, deadline - time.monotonic()))
        try:
            data = self._socket.recv(65_536)
        except TimeoutError:
            raise Malformed(f"neither a reply nor its end in time: {self._pending!r}") from None
        except OSError:
            data = b""
        self.closed = self.closed or not data
        self._pending += data
        return bool(data)


_GLANCE: Final = 0.02
_STILL: Final = 0.3 * WAIT / 4  # seconds without a byte, behind which the line is looked at


class SerialTalk(Talk):
    """A machine at a serial line, which has no end that it could see: that its session is over is told by
    `sitting`, the number of the one that is on it; 0 for none, -1 where nobody has the line open.
    """

    def __init__(self, machine: Machine, sitting: Callable[[], int], hear: int) -> None:
        self._machine, self._sitting = machine, sitting
        self._pending = b""
        self.hear = hear
        self.closed = False
        self._seat = self._sitting()
        machine.take()  # what the last one left there

    def send(self, data: bytes) -> None:
        """Bytes, which wait in the line while nobody has it open."""
        self._seat = self._sitting()
        self._machine.say(data)

    def plug(self) -> None:
        """Both ends go, and come back."""
        self._machine.unplug()
        self._wait_until(lambda seat: seat < 0, PATIENCE / 4)
        self._machine.plug()
        self._wait_until(lambda seat: seat > 0, PATIENCE / 4)

    def close(self) -> None:
        """A machine cannot hang up here."""

    def leave(self) -> None:
        """End what is on the line, whatever that is, once nothing fails any more."""
        deadline = time.monotonic() + PATIENCE
        while (seat := self._sitting()) != 0:
            if time.monotonic() > deadline:
                raise Malformed("a serial line that does not come back" if seat < 0 else "BYE ends nothing")
            if seat > 0:
                self._machine.say(b"\rBYE\r")
            self._wait_until(lambda now: now == 0, _STILL)
        self._machine.take()

    def _wait_until(self, true: Callable[[int], bool], seconds: float) -> None:
        until = time.monotonic() + seconds
        while not true(self._sitting()) and time.monotonic() < until:
            time.sleep(_GLANCE)

    def _more(self, deadline: float) -> bool:
        still = time.monotonic() + _STILL
        while time.monotonic() < deadline:
            select.select([self._machine.master], [], [], _GLANCE)
            data = self._machine.take()
            if data:
                self._pending += data
                return True
            time.sleep(_GLANCE)
            if time.monotonic() > still:
                now = self._sitting()
                if now <= 0 or self._seat not in {now, *range(-1, 1)}:
                    self.closed = True
                    return False
                self._seat, still = now, time.monotonic() + _STILL
        raise Malformed(f"neither a reply nor its end in time: {self._pending!r}")
