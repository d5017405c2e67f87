"""A [[listen]] with a serial device; mistakes are among those of listeners."""

from gateway.catalogue.model import Handshake, Parity, SerialDevice
from tests.gateway.catalogue.marked import check, load


def test_all_of_it() -> None:
    first, second = load("""[[listen]]
device = "/dev/serial/by-id/an-adapter"
speed = 19200
bits = 7
parity = "even"
stop_bits = 2
handshake = "rtscts"
carrier = true
drop = true
profile = "seven-bit"
[[listen]]
device = "/dev/ttyUSB0"
""").listeners
    assert first.device == SerialDevice(
        "/dev/serial/by-id/an-adapter", 19_200, 7, Parity.EVEN, 2, Handshake.RTSCTS, carrier=True, drop=True
    )
    assert second.device == SerialDevice("/dev/ttyUSB0")
    assert load("").listeners[0].device is None


def test_a_device_that_is_no_text() -> None:
    check("""
[[listen]]
device = 7
         ^ "7"
speed = 9600
""")
