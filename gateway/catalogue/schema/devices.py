"""The keys of a [[listen]] that has a serial device -> SerialDevice."""

from typing import Final

from gateway.catalogue.model import SPEEDS, Handshake, Parity, SerialDevice
from gateway.catalogue.schema.table import Table

_OF_DEVICES: Final = ("speed", "bits", "parity", "stop_bits", "handshake", "carrier", "drop")
_OF_PORTS: Final = ("host", "port", "by_address", "networks", "rights_by_address")


def read_device(table: Table) -> SerialDevice | None:
    """None for a listener with a port. What belongs to the other kind is reported."""
    path = table.text("device")
    if "device" not in table:
        for key in _OF_DEVICES:
            if key in table and table.lacks("device"):
                table.report.at_key(table.at(key), f"{key} without a device", 'device = "/dev/..." beside it')
        return None
    for key in _OF_PORTS:
        if key in table:
            table.report.at_key(table.at(key), f"{key}, with a device", "a device, or a host and a port")
    speed = table.integer("speed")
    if speed is not None and speed not in SPEEDS:
        near = min(SPEEDS, key=lambda each: abs(each - speed))
        table.wrong("speed", str(speed), str(near), " ".join(map(str, SPEEDS)))
    bits, stop_bits = table.integer("bits"), table.integer("stop_bits")
    default = SerialDevice("")
    carrier, drop = table.flag("carrier") or False, table.flag("drop") or False
    parity, handshake = table.member("parity", Parity), table.member("handshake", Handshake)
    if path is None:
        return None
    return SerialDevice(
        path,
        speed or default.speed,
        bits or default.bits,
        parity or default.parity,
        stop_bits or default.stop_bits,
        handshake or default.handshake,
        carrier,
        drop,
    )
