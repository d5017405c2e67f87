"""How a serial device is set -> POSIX termios (IEEE Std 1003.1, general terminal interface).

Nothing here opens anything. The lines of the connector (DTR, RTS, CTS, DCD) are named as in TIA-232.
"""

import re
import termios
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from adapters.errors import WrongWords
from gateway.serial.framing import Framing, Parity

Attributes: TypeAlias = list[Any]
"""What `termios.tcgetattr` gives: four sets of flags, input speed, output speed, control characters."""

SPEEDS: Final = {
    int(name[1:]): int(getattr(termios, name)) for name in dir(termios) if re.fullmatch(r"B[1-9]\d*", name)
}
"""Bits a second -> the system's word for it: those that this system knows."""

_SIZES: Final = {7: termios.CS7, 8: termios.CS8}
_XONXOFF: Final = termios.IXON | termios.IXOFF
_IFLAG, _OFLAG, _CFLAG, _LFLAG, _ISPEED, _OSPEED, _CC = range(7)


@dataclass(frozen=True, slots=True)
class Wire:
    """One serial device: where it is, and how it is set.

    `carrier`: the line is up while DCD is, as with a modem; else as long as the device is there.
    `drop`: DTR goes down where a session ends, by which modems hang up (common practice).
    `watched`: whoever speaks on it looks at DCD by himself.
    WrongWords: a speed, or bits, that it cannot have.
    """

    path: str
    speed: int = 9_600  # bits a second
    bits: int = 8
    parity: str = "none"
    stop_bits: int = 1
    handshake: str = "none"
    carrier: bool = False
    drop: bool = False
    watched: bool = False

    def __post_init__(self) -> None:
        if self.speed not in SPEEDS:
            raise WrongWords(
                f"{self.speed} is no speed of this system: {', '.join(map(str, sorted(SPEEDS)))}"
            )
        if self.bits not in _SIZES:
            raise WrongWords("bits are 7 or 8")
        if self.parity not in {"none", "even", "odd"}:
            raise WrongWords("parity is none, even or odd")
        if self.stop_bits not in {1, 2}:
            raise WrongWords("stop bits are 1 or 2")
        if self.handshake not in {"none", "rtscts", "xonxoff"}:
            raise WrongWords("handshake is none, rtscts or xonxoff")

    @property
    def framing(self) -> Framing:
        """How long a character takes."""
        return Framing(self.speed, self.bits, Parity(self.parity), self.stop_bits)

    @property
    def name(self) -> str:
        """Its settings as people write them, such as 9600 7E1."""
        return f"{self.speed} {self.framing.name}"


def attributes(wire: Wire, found: Attributes) -> Attributes:
    """What to set, given what is set: bytes go through as they are, both ways, but for XON and XOFF.

    A break is ignored. A character that came broken is marked (INPCK, PARMRK; see `marks`). DCD is not left
    to the system (CLOCAL): it would close the device for good. DTR stays up after the last close unless it
    is to drop (HUPCL).
    """
    cflag = termios.CREAD | termios.CLOCAL | _SIZES[wire.bits]
    if wire.parity != "none":
        cflag |= termios.PARENB
    if wire.parity == "odd":
        cflag |= termios.PARODD
    if wire.stop_bits == 2:
        cflag |= termios.CSTOPB
    if wire.handshake == "rtscts":
        cflag |= termios.CRTSCTS
    if wire.drop:
        cflag |= termios.HUPCL
    iflag = termios.IGNBRK | termios.INPCK | termios.PARMRK
    if wire.handshake == "xonxoff":
        iflag |= _XONXOFF
    control = list(found[_CC])
    control[termios.VMIN], control[termios.VTIME] = 1, 0
    return [iflag, 0, cflag, 0, SPEEDS[wire.speed], SPEEDS[wire.speed], control]


def not_kept(wire: Wire, found: Attributes) -> tuple[str, ...]:
    """What a device has not taken, in words. Setting it counts as done where any part of it was
    (IEEE Std 1003.1, tcsetattr).
    """
    wanted = attributes(wire, found)
    flags = found[_CFLAG] ^ wanted[_CFLAG]
    lost = {
        f"{wire.speed} bits a second": found[_OSPEED] != wanted[_OSPEED],
        f"{wire.bits} data bits": flags & termios.CSIZE,
        f"{wire.parity} parity": flags & (termios.PARENB | termios.PARODD),
        f"{wire.stop_bits} stop bits": flags & termios.CSTOPB,
        f"handshake {wire.handshake}": flags & termios.CRTSCTS or (found[_IFLAG] ^ wanted[_IFLAG]) & _XONXOFF,
    }
    return tuple(name for name, is_lost in lost.items() if is_lost)
