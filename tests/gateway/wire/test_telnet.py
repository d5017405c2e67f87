"""Looking among telnet's commands: RFC 854 (commands, IAC doubled) and RFC 855 (blocks).

That a CAN is found exactly where reading on gives one is tested with the reader, in test_lines.py.
"""

import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.wire.telnet import Meaning, Negotiation, Telnet, has_cancel, last_outside


@pytest.mark.parametrize(
    ("data", "state", "there"),
    [
        (b"\x18", Telnet.DATA, True),
        (b"", Telnet.DATA, False),
        (b"\xff\xfb\x18", Telnet.DATA, False),  # an option's number
        (b"\xff\xfb\x18\x18", Telnet.DATA, True),
        (b"\xff\xff\x18", Telnet.DATA, True),  # doubled, IAC is data
        (b"\xff\x18", Telnet.DATA, True),  # FFh is no command before it
        (b"\xff\xfa\x18\xff\xff\xf0\x18", Telnet.DATA, False),  # the block has not ended
        (b"\xff\xfa\x18\xff\xf0\x18", Telnet.DATA, True),
        (b"\x18\xff\xf0", Telnet.BLOCK, False),
        (b"\x18", Telnet.OPTION, False),
        (b"\xf0\x18", Telnet.BLOCK_COMMAND, True),
        (b"\xfd\x18", Telnet.COMMAND, False),
        (b"\xf1" + b"\xff\xf1" * 1_000 + b"\x18", Telnet.COMMAND, True),
    ],
)
def test_a_cancel_outside_commands(data: bytes, state: Telnet, there: bool) -> None:
    assert has_cancel(data, state) is there
    assert has_cancel(bytearray(data), state) is there


def plain_bytes(data: bytes, state: Telnet) -> Iterator[int]:
    """What is no part of a command, byte by byte, as RFC 854 and 855 say; FFh alone is no command."""
    for byte in data:
        if state is Telnet.DATA:
            if byte == 0xFF:
                state = Telnet.COMMAND
            else:
                yield byte
        elif state is Telnet.COMMAND:
            state = Telnet.OPTION if 0xFB <= byte <= 0xFE else Telnet.BLOCK if byte == 0xFA else Telnet.DATA
            if byte < 0xF0:
                yield byte
        elif state is Telnet.OPTION:
            state = Telnet.DATA
        elif state is Telnet.BLOCK:
            state = Telnet.BLOCK_COMMAND if byte == 0xFF else Telnet.BLOCK
        else:
            state = Telnet.DATA if byte == 0xF0 else Telnet.BLOCK


MARKS = b"\x11\x13\x18"
PARTS = [
    b"\x11",
    b"\x13",
    b"\x18",
    b"A",
    b"\xff",
    b"\xf0",
    b"\xfa",
    b"\xfb",
    b"\xf1",
    b"\xff\xfa",
    b"\xff\xf0",
]


@given(st.lists(st.sampled_from(PARTS), max_size=20).map(b"".join), st.sampled_from(Telnet))
def test_the_last_mark_outside_commands(data: bytes, state: Telnet) -> None:
    marks = [byte for byte in plain_bytes(data, state) if byte in MARKS]
    assert last_outside(data, state, MARKS) == (marks[-1] if marks else None)


@given(st.lists(st.sampled_from(PARTS), max_size=20).map(b"".join))
def test_without_telnet_ffh_is_a_byte_like_others(data: bytes) -> None:
    marks = [byte for byte in data if byte in MARKS]
    assert last_outside(data, None, MARKS) == (marks[-1] if marks else None)


@pytest.mark.parametrize(
    "flood", [b"\xff\xfb\x13", b"\xff\xf1", b"\xff\xfa", b"\xff\xfa\x13\xff\xf0", b"\xff\x13"]
)
def test_looking_for_the_last_mark_costs_little(flood: bytes) -> None:
    data = bytearray(flood * (278_528 // len(flood)))
    best = 9.0
    for _ in range(3):
        started = time.perf_counter()
        last_outside(data, Telnet.DATA, MARKS)
        best = min(best, time.perf_counter() - started)
    assert best < 0.15


def test_a_copied_negotiation_refuses_elsewhere() -> None:
    here, there = bytearray(), bytearray()
    negotiation = Negotiation(here)
    negotiation.begin()
    assert negotiation.take(0xFD) is Meaning.NOTHING
    other = negotiation.copied(there)
    other.take(1)
    assert (bytes(here), bytes(there)) == (b"", b"\xff\xfc\x01")  # WON'T ECHO (RFC 857, 1143)
    assert negotiation.state is Telnet.OPTION
    assert (negotiation.spoken, other.spoken) == (False, True)
