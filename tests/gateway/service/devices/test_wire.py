"""Settings against IEEE Std 1003.1 (termios.h), and against what a pseudo terminal gives back."""

import os
import termios
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import WrongWords
from gateway.catalogue.model import Handshake, Parity
from gateway.service.devices.wire import SPEEDS, Wire, attributes, not_kept

WIRES = st.builds(
    Wire,
    path=st.just("/dev/example"),
    speed=st.sampled_from(sorted(SPEEDS)),
    bits=st.sampled_from((7, 8)),
    parity=st.sampled_from(("none", "even", "odd")),
    stop_bits=st.sampled_from((1, 2)),
    handshake=st.sampled_from(("none", "rtscts", "xonxoff")),
    drop=st.booleans(),
)
DIRTY: list[Any] = [-1 & 0xFFFF, -1 & 0xFFFF, -1 & 0xFFFFFF, -1 & 0xFFFF, 0, 0, [b"\0"] * 32]


@pytest.fixture
def slave() -> Iterator[int]:
    master, slave = os.openpty()
    yield slave
    os.close(master)
    os.close(slave)


def test_the_speeds_of_the_standard_are_known() -> None:
    """IEEE Std 1003.1, termios.h, "Baud Rate Selection", without 0; the faster ones are common practice."""
    assert {50, 75, 110, 134, 150, 200, 300, 600, 1_200, 1_800, 2_400, 4_800, 9_600, 19_200, 38_400} <= set(
        SPEEDS
    )
    assert {57_600, 115_200} <= set(SPEEDS)
    assert 0 not in SPEEDS


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"speed": 9_601}, "9601"),
        ({"speed": 0}, "speed"),
        ({"bits": 9}, "bits"),
        ({"parity": "mark"}, "parity"),
        ({"stop_bits": 3}, "stop bits"),
        ({"handshake": "dtr"}, "handshake"),
    ],
)
def test_what_no_line_has_is_refused(wrong: dict[str, Any], word: str) -> None:
    with pytest.raises(WrongWords, match=word):
        Wire("/dev/example", **wrong)


@pytest.mark.parametrize(
    ("wire", "name"),
    [
        (Wire("x"), "9600 8N1"),
        (Wire("x", 300, 7, "even"), "300 7E1"),
        (Wire("x", 110, 7, "odd", 2), "110 7O2"),
    ],
)
def test_its_usual_name(wire: Wire, name: str) -> None:
    assert wire.name == name


@given(WIRES)
def test_flags_as_the_standard_has_them(wire: Wire) -> None:
    """IEEE Std 1003.1, termios.h: what each flag means; CRTSCTS is common practice beside it."""
    iflag, oflag, cflag, lflag, ispeed, ospeed, control = attributes(wire, DIRTY)
    assert (oflag, lflag) == (0, 0)  # no OPOST; no ICANON, ECHO, ISIG
    assert not iflag & (termios.ICRNL | termios.INLCR | termios.IGNCR | termios.ISTRIP | termios.BRKINT)
    assert bool(iflag & termios.IXON) == bool(iflag & termios.IXOFF) == (wire.handshake == "xonxoff")
    assert iflag & termios.INPCK
    assert iflag & termios.PARMRK
    assert not iflag & termios.IGNPAR
    assert bool(cflag & termios.PARENB) == (wire.parity != "none")
    assert bool(cflag & termios.PARODD) == (wire.parity == "odd")
    assert cflag & termios.CSIZE == (termios.CS7 if wire.bits == 7 else termios.CS8)
    assert bool(cflag & termios.CSTOPB) == (wire.stop_bits == 2)
    assert bool(cflag & termios.CRTSCTS) == (wire.handshake == "rtscts")
    assert bool(cflag & termios.HUPCL) == wire.drop
    assert cflag & termios.CREAD
    assert cflag & termios.CLOCAL
    assert ispeed == ospeed == SPEEDS[wire.speed]
    assert (control[termios.VMIN], control[termios.VTIME]) == (1, 0)
    assert not_kept(wire, [iflag, oflag, cflag, lflag, ispeed, ospeed, control]) == ()


@pytest.mark.parametrize("speed", sorted(SPEEDS))
def test_every_speed_is_kept_by_the_system(slave: int, speed: int) -> None:
    wire = Wire("x", speed)
    termios.tcsetattr(slave, termios.TCSANOW, attributes(wire, termios.tcgetattr(slave)))
    found = termios.tcgetattr(slave)
    assert found[4] == found[5] == getattr(termios, f"B{speed}")
    assert not_kept(wire, found) == ()


@given(wire=WIRES, flag=st.sampled_from(("CSIZE", "PARENB", "CSTOPB", "CRTSCTS", "IXON", "speed")))
def test_what_a_device_does_not_take_is_named(wire: Wire, flag: str) -> None:
    found = attributes(wire, DIRTY)
    words = {
        "CSIZE": f"{wire.bits} data bits",
        "PARENB": f"{wire.parity} parity",
        "CSTOPB": f"{wire.stop_bits} stop bits",
        "CRTSCTS": f"handshake {wire.handshake}",
        "IXON": f"handshake {wire.handshake}",
        "speed": f"{wire.speed} bits a second",
    }
    if flag == "speed":
        found[5] = -1
    elif flag == "IXON":
        found[0] ^= termios.IXON
    elif flag == "CSIZE":
        found[2] ^= termios.CS7 ^ termios.CS8
    else:
        found[2] ^= getattr(termios, flag)
    assert not_kept(wire, found) == (words[flag],)


@pytest.mark.parametrize("parity", Parity)
@pytest.mark.parametrize("handshake", Handshake)
def test_every_word_of_the_catalogue_is_one_of_a_wires(parity: Parity, handshake: Handshake) -> None:
    assert Wire("/dev/x", parity=parity.value, handshake=handshake.value).name.startswith("9600 8")
