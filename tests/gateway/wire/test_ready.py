"""The ready profiles do what their trait asks for, by arithmetic that a reader can follow."""

import pytest

from adapters import limits
from gateway.wire.ready import READY
from gateway.wire.settings import CHECK_WIDTHS, Settings


def longest_line(settings: Settings) -> int:
    """Bytes of the longest line that a client with these settings gets, its end included."""
    end = {"crlf": 2, "none": 0}.get(settings.eol, 1)
    return max(settings.most, 16 + CHECK_WIDTHS[settings.check]) + end


def test_there_are_a_dozen_and_each_says_why() -> None:
    assert len(READY) >= 12
    for name, ready in READY.items():
        assert name == ready.name == name.upper()
        assert len(name) <= limits.NAME_CHARACTERS
        assert set(name) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-")
        assert ready.trait


@pytest.mark.parametrize("name", READY)
def test_each_is_something_else_than_plain(name: str) -> None:
    assert READY[name].settings != Settings()


@pytest.mark.parametrize(("name", "room"), [("BUFFER-128", 127), ("BUFFER-256", 255)])
def test_a_window_never_overflows_the_buffer_that_it_is_for(name: str, room: int) -> None:
    """Buffers of 255 bytes, 127 on some (manuals of classic BASICs): a window fits with its line ends."""
    settings = READY[name].settings
    assert settings.window * longest_line(settings) <= room
    assert (settings.window + 1) * longest_line(settings) > room  # and no line is given away


def test_paper_prints_ten_characters_a_second() -> None:
    """110 bits a second with two stop bits is ten characters a second (common practice, from memory)."""
    assert READY["PAPER"].settings.pace == 110 // (1 + 8 + 2)
