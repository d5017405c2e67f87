"""Marks as IEEE Std 1003.1 (general terminal interface, PARMRK) has them."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.service.devices.marks import Marks

CHARACTERS = st.lists(st.tuples(st.integers(0, 255), st.booleans()), max_size=60)


def marked(characters: list[tuple[int, bool]]) -> bytes:
    """As the standard says that a terminal gives them: each with whether it came broken."""
    parts = []
    for byte, broken in characters:
        if broken:
            parts.append(bytes((0xFF, 0x00, byte)))
        else:
            parts.append(b"\xff\xff" if byte == 0xFF else bytes((byte,)))
    return b"".join(parts)


@pytest.mark.parametrize(
    ("given", "characters"),
    [
        (b"ERASE A\r", b"ERASE A\r"),
        (b"ERASE \xff\x00A\r", b"ERASE \x1a\r"),
        (b"\xff\xff", b"\xff"),
        (b"\xff\x00\xff", b"\x1a"),
        (b"\xff\xff\x00\xff\xff", b"\xff\x00\xff"),
        (b"\xff", b""),
        (b"\xff\x00", b""),
    ],
)
def test_a_table(given: bytes, characters: bytes) -> None:
    assert Marks().off(given) == characters


@given(CHARACTERS, st.lists(st.integers(0, 200)))
def test_chunking_never_matters(characters: list[tuple[int, bool]], cuts: list[int]) -> None:
    data = marked(characters)
    wanted = bytes(0x1A if broken else byte for byte, broken in characters)
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    marks, bytewise = Marks(), Marks()
    assert b"".join(marks.off(data[a:b]) for a, b in pairwise(edges)) == wanted
    assert b"".join(bytewise.off(bytes((byte,))) for byte in data) == wanted
