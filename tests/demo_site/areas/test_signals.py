"""The signal station, as a caller finds it."""

import socket
import threading

import pytest

from demo_site.areas.signals import PROMPT, SignalStation, answer

GREETING = b"Gullmarrow signal station (invented)\r\nSHIPS, WIND or BYE\r\n" + PROMPT


def said(lines: bytes) -> bytes:
    """All that the station says to a caller that sends this, until it hangs up."""
    with SignalStation() as station:
        host, port = station.url.removeprefix("tcp://").split(":")
        with socket.create_connection((host, int(port)), 5) as line:
            line.sendall(lines)
            heard = b""
            while data := line.recv(1_000):
                heard += data
    return heard


@pytest.mark.parametrize("end", [b"\r", b"\n", b"\r\n"])
def test_line_ends(end: bytes) -> None:
    wind = b"South-west 4, rising\r\n"
    assert said(b"WIND" + end + b"wind" + end + b"bye" + end) == (
        GREETING + wind + PROMPT + wind + PROMPT + b"Fair winds\r\n"
    )


def test_words() -> None:
    assert answer("ships")[0].count("\r\n") == 2
    assert answer("tides") == ("The station knows SHIPS, WIND and BYE\r\n", False)
    assert answer("") == ("", False)
    assert answer(" Bye ") == ("Fair winds\r\n", True)


def test_a_line_as_long_as_may_be() -> None:
    assert said(b"x" * 5_000 + b"\rBYE\r").endswith(PROMPT + b"Fair winds\r\n")


def test_nothing_is_left_of_it() -> None:
    before = threading.active_count()
    with SignalStation() as station:
        host, port = station.url.removeprefix("tcp://").split(":")
        line = socket.create_connection((host, int(port)), 5)
        assert line.recv(9) == b"Gullmarro"
    with line:
        while line.recv(1_000):
            pass
    assert threading.active_count() == before
    with pytest.raises(OSError):
        socket.create_connection((host, int(port)), 5)
