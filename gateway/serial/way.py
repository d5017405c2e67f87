"""Line, link, noise, machine, settings -> Way: everything between the gateway and the program.

Gateway -> link -> adapter -> line -> machine. The adapter (a serial server, or the gateway's own port) is at
the line's near end and sends what it holds back to back at the line's rate. Adapter and link together hold
at most `adapter_bytes`; room for another byte is known to the gateway `latency` seconds after a byte began
on the line, as with a window of TCP. What left the gateway cannot be held back any more by 13h, save by an
adapter that obeys it itself. What the machine sends (empty lines, 11h, 13h) takes its characters' time on
the line and the latency back.
"""

from dataclasses import dataclass, field

from adapters import limits
from adapters.errors import WrongWords
from gateway.serial.framing import Framing, Number
from gateway.serial.machine import Machine
from gateway.wire.settings import Settings


@dataclass(frozen=True, slots=True)
class Link:
    """Between the gateway and the line's near end. WrongWords: a latency or size that makes no sense.

    `latency` is in seconds, each way. `adapter_xon`: the adapter itself stops at 13h and goes on at 11h,
    whatever setting `flow` says.
    """

    latency: Number = 0
    adapter_bytes: int = limits.SERIAL_HELD_BYTES
    adapter_xon: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.latency <= limits.SERIAL_WORK_SECONDS:
            raise WrongWords(f"latency is 0 to {limits.SERIAL_WORK_SECONDS} seconds")
        if not 1 <= self.adapter_bytes <= limits.SERIAL_BUFFER_BYTES:
            raise WrongWords(f"1-{limits.SERIAL_BUFFER_BYTES:,} bytes for the adapter")


@dataclass(frozen=True, slots=True)
class Noise:
    """Each bit on the way to the machine is wrong with probability `rate`, on its own; `seed` says which.

    WrongWords: no rate.
    """

    rate: float = 0.0
    seed: int = 1

    def __post_init__(self) -> None:
        if not 0 <= self.rate <= 0.5:
            raise WrongWords("a bit-error rate is 0 to 0.5")


@dataclass(frozen=True, slots=True)
class Way:
    """The whole way; of the settings count eol, pace, gap, window and flow. WrongWords: 9b on seven bits.

    `grain_seconds`: a gateway that keeps a pace or gap looks that often whether bytes are due, and those that
    are leave together; 0: each leaves at its own moment.
    """

    framing: Framing
    machine: Machine = field(default_factory=Machine)
    settings: Settings = field(default_factory=Settings)
    link: Link = field(default_factory=Link)
    noise: Noise = field(default_factory=Noise)
    grain_seconds: Number = 0

    def __post_init__(self) -> None:
        if not 0 <= self.grain_seconds <= 1:
            raise WrongWords("the gateway looks at least once a second")
        if self.settings.eol == "9b" and self.framing.data_bits == 7:
            raise WrongWords("eol 9b needs 8 data bits")
