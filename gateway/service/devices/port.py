"""A `Wire` -> the device open, set and locked, with its modem lines; or an OSError that says why not."""

import errno
import fcntl
import os
import struct
import termios
from contextlib import suppress
from typing import Final

from adapters import limits
from gateway.serial.framing import exact
from gateway.service.devices.marks import Marks
from gateway.service.devices.wire import Wire, attributes, not_kept

_INT: Final = struct.Struct("@i")
_ASKED: Final = os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK  # without waiting for a carrier
_SENTENCES: Final = {
    errno.ENOENT: "it is not there",
    errno.ENXIO: "it is not there",
    errno.ENODEV: "it is not there",
    errno.EIO: "it is not there",
    errno.ENOTTY: "it is no serial device",
    errno.EISDIR: "it is no serial device",
    errno.EBUSY: "another program is using it",
    errno.EWOULDBLOCK: "another program is using it",
    # Debian gives serial devices to the group dialout (common practice of distributions)
    errno.EACCES: "this user may not open it; is it in the device's group (often dialout)?",
    errno.EPERM: "this user may not open it; is it in the device's group (often dialout)?",
}


def fault(error: OSError | termios.error, path: str) -> OSError:
    """The same with a sentence for whoever runs the gateway."""
    number, text = (*error.args, "", "")[:2]
    return OSError(number, _SENTENCES.get(number, text), path)


def _let_go(descriptor: int) -> None:
    """Closed it is even where the device is lost and closing fails (close(2), notes)."""
    with suppress(OSError):
        os.close(descriptor)


class Port:
    """An open device. `descriptor` is non-blocking; whoever opened the port closes it."""

    def __init__(self, descriptor: int, wire: Wire) -> None:
        self.descriptor = descriptor
        self.wire = wire
        self._marks = Marks()
        self.missing: tuple[str, ...] = ()  # what it has not taken of its settings, in words
        ahead = exact(limits.DEVICE_AHEAD_SECONDS) / wire.framing.seconds
        self._ahead = max(limits.DEVICE_AHEAD_BYTES, int(ahead))

    def prepare(self) -> None:
        """Lock it, then set it. OSError or termios.error says what went wrong."""
        # TIOCEXCL keeps out everybody but root, who is kept out by the lock if he asks for it
        fcntl.flock(self.descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        found = termios.tcgetattr(self.descriptor)  # ENOTTY: no terminal
        fcntl.ioctl(self.descriptor, termios.TIOCEXCL)
        termios.tcsetattr(self.descriptor, termios.TCSANOW, attributes(self.wire, found))
        self.missing = not_kept(self.wire, termios.tcgetattr(self.descriptor))
        try:
            if self.wire.carrier or self.wire.watched:
                self.carrier()
            if self.wire.drop:
                self.terminal_ready(True)
        except OSError as error:
            if error.errno not in {errno.ENOTTY, errno.EINVAL}:
                raise
            raise OSError(0, "it has no modem lines: carrier and drop have to be false") from error

    def carrier(self) -> bool:
        """Whether DCD is up (TIA-232 circuit CF)."""
        found = fcntl.ioctl(self.descriptor, termios.TIOCMGET, _INT.pack(0))
        return bool(_INT.unpack(found)[0] & termios.TIOCM_CD)

    def terminal_ready(self, up: bool) -> None:
        """Raise or drop DTR (TIA-232 circuit CD)."""
        request = termios.TIOCMBIS if up else termios.TIOCMBIC
        fcntl.ioctl(self.descriptor, request, _INT.pack(termios.TIOCM_DTR))

    def queued(self) -> int:
        """How many bytes the system has taken and not sent; 0 where it does not say (pseudo terminals)."""
        try:
            return int(_INT.unpack(fcntl.ioctl(self.descriptor, termios.TIOCOUTQ, _INT.pack(0)))[0])
        except OSError:  # writing will tell
            return 0

    def room(self) -> int:
        """How many bytes it may be given now: none while more than half of what it may have waits there.

        The system itself would take minutes' worth of a slow line, which CAN could not call back.
        """
        queued = self.queued()
        return self._ahead - queued if queued <= self._ahead // 2 else 0

    def read(self) -> bytes:
        """What has come: none, perhaps. OSError with EIO: the device was hung up, which reads as an end of
        file or as that (IEEE Std 1003.1, "Modem Disconnect").
        """
        try:
            data = os.read(self.descriptor, limits.DEVICE_READ_BYTES)
        except (BlockingIOError, InterruptedError):
            return b""
        if not data:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return self._marks.off(data)

    def discard(self) -> None:
        """Forget what has come and was not read."""
        self._marks = Marks()
        with suppress(termios.error):  # reading will tell
            termios.tcflush(self.descriptor, termios.TCIFLUSH)

    def close(self) -> None:
        """Let it go at once. What a line has not taken is dropped: closing would wait for it.

        Closing a pseudo terminal waits for nothing, and its far end may still read what is there.
        """
        if self.queued():
            with suppress(termios.error):  # it may be gone
                termios.tcflush(self.descriptor, termios.TCOFLUSH)
        with suppress(OSError):
            fcntl.ioctl(self.descriptor, termios.TIOCNXCL)
        _let_go(self.descriptor)


def open_port(wire: Wire) -> Port:
    """The device, ready. OSError, with a sentence as its `strerror`, where it cannot be had."""
    try:
        descriptor = os.open(wire.path, _ASKED)
    except OSError as error:
        raise fault(error, wire.path) from error
    port = Port(descriptor, wire)
    try:
        port.prepare()
    except (OSError, termios.error) as error:
        _let_go(descriptor)
        raise fault(error, wire.path) from error
    return port
