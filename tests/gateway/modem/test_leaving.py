"""The way out of a modem's data, whose bit 7 may be for parity: the contract's +++ and common practice."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.wire.escape import Escape


def play(*pieces: bytes | float) -> tuple[bytes, bool]:
    """Bytes, and seconds between them -> what went on, and whether the end was the wish to leave."""
    escape, now, sent = Escape(50.0, parity=True), 50.0, b""
    for piece in pieces:
        if isinstance(piece, bytes):
            sent += escape.feed(piece, now)
            continue
        due = escape.due
        now += piece
        if due is not None and now >= due:
            if escape.at(now):
                return sent, True
            sent += escape.release(now)
    return sent, False


LEAVES = [
    (1.0, b"+++", 1.0),
    (b"data", 1.0, b"+++", 1.0),
    (1.0, b"+", 0.5, b"+", 0.875, b"+", 1.0),
    (1.0, b"+", b"++", 5.0),
    (1.0, b"+++\r", 1.0),
    (1.0, b"+++\n", 1.0),
    (1.0, b"+++\r\n", 1.0),
    (1.0, b"+++\r\0", 1.0),
    (1.0, b"++", 0.5, b"+\r", 0.5, b"\n", 1.0),
    (1.0, b"\xab\xab\xab", 1.0),  # with parity in bit 7
]


@pytest.mark.parametrize("pieces", LEAVES)
def test_it_is_the_wish(pieces: tuple[bytes | float, ...]) -> None:
    data = b"".join(piece for piece in pieces if isinstance(piece, bytes))
    assert play(*pieces) == (b"data" if data.startswith(b"data") else b"", True)


STAYS = [
    (b"+++", 1.0),  # no silence before
    (0.875, b"+++", 1.0),
    (1.0, b"+++", 0.875, b"x", 1.0),
    (1.0, b"+++x", 1.0),
    (1.0, b"++++", 1.0),
    (1.0, b"++", 1.0),
    (1.0, b"++", 0.5, b"x", 1.0),
    (1.0, b"x+++", 1.0),
    (1.0, b"+++\r\r", 1.0),
    (1.0, b"+++\n\r", 1.0),
    (1.0, b"+++\r\n\n", 1.0),
    (1.0, b"++\r", 1.0),
    (1.0, b"+++AT\r", 1.0),
]


@pytest.mark.parametrize("pieces", STAYS)
def test_it_is_data(pieces: tuple[bytes | float, ...]) -> None:
    data = b"".join(piece for piece in pieces if isinstance(piece, bytes))
    assert play(*pieces) == (data, False)


def test_a_silence_can_be_the_next_one_too() -> None:
    assert play(1.0, b"+", 1.0, b"+++", 1.0) == (b"+", True)


def test_held_bytes_can_be_let_go_and_data_begin_anew() -> None:
    escape = Escape(0.0, parity=True)
    escape.feed(b"++", 1.0)
    assert escape.drop() == b"++"
    assert escape.drop() == b""
    escape.start(5.0)
    assert escape.feed(b"+++", 5.5) == b"+++"  # no silence before


EIGHTHS = st.integers(0, 12).map(lambda eighths: eighths / 8)
BITS = st.lists(st.sampled_from([b"+", b"+", b"\xab", b"\r", b"\n", b"\0", b"x"]), max_size=6).map(b"".join)


@given(st.lists(st.one_of(BITS, EIGHTHS), max_size=12))
def test_how_the_bytes_are_cut_never_matters(pieces: list[bytes | float]) -> None:
    single: list[bytes | float] = []
    for piece in pieces:
        single += [bytes((byte,)) for byte in piece] if isinstance(piece, bytes) else [piece]
    assert play(*single, 2.0) == play(*pieces, 2.0)


@given(st.lists(st.one_of(BITS, EIGHTHS), max_size=12))
def test_nothing_is_lost_or_added_but_the_wish(pieces: list[bytes | float]) -> None:
    sent, left = play(*pieces, 2.0)
    data = b"".join(piece for piece in pieces if isinstance(piece, bytes))
    if not left:
        assert sent == data
        return
    assert data.startswith(sent)
    rest = bytes(byte & 0x7F for byte in data[len(sent) :])
    assert rest.startswith(b"+++")
