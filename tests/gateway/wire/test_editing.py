"""The line being typed, apart from what cuts lines (CONTRACT section 1); more of it in test_lines.py."""

import time
from dataclasses import replace

import pytest

from adapters import limits
from gateway.wire.charsets import table_charset
from gateway.wire.editing import TypedLine
from gateway.wire.settings import Settings
from gateway.wire.tables.charset import ASCII, UNDEFINED

PLAIN = Settings()


def typed(*pieces: bytes, settings: Settings = PLAIN) -> tuple[TypedLine, bytes]:
    output = bytearray()
    line = TypedLine(output)
    for piece in pieces:
        assert line.type(piece, settings, negotiated=False) is None
    return line, bytes(output)


@pytest.mark.parametrize("pieces", [(b"A" * 300,), (b"A",) * 300, (b"A" * 255, b"", b"A")])
def test_a_line_is_cut_at_its_limit(pieces: tuple[bytes, ...]) -> None:
    line, _ = typed(*pieces)
    assert (bytes(line.line), line.overlong) == (b"A" * limits.LINE_BYTES, True)
    line.rub_out(PLAIN, negotiated=False)
    assert line.overlong  # its tail is never run
    line.clear()
    assert (bytes(line.line), line.overlong) == (b"", False)


def test_what_is_rubbed_out_is_wiped_from_the_screen_and_no_more() -> None:
    output = bytearray()
    line = TypedLine(output)
    echoing = replace(PLAIN, echo=True)
    line.type(b"AB", echoing, negotiated=False)
    for _ in range(3):
        line.rub_out(echoing, negotiated=False)
    assert bytes(output) == b"AB" + b"\b \b" * 2


def test_a_blank_wipes_in_the_clients_own_code() -> None:
    """40h in code page 037."""
    output = bytearray()
    line = TypedLine(output)
    echoing = replace(PLAIN, echo=True, charset="cp037")
    line.type(b"\xc1", echoing, negotiated=False)
    line.rub_out(echoing, negotiated=False)
    assert bytes(output) == b"\xc1\b\x40\b"


def test_echo_doubles_an_ffh_for_telnet_only() -> None:
    latin = replace(PLAIN, echo=True, charset="latin1")
    assert typed(b"\xff", settings=latin)[1] == b"\xff"
    output = bytearray()
    TypedLine(output).type(b"\xff", latin, negotiated=True)
    assert bytes(output) == b"\xff\xff"  # RFC 854


@pytest.mark.parametrize("size", [1, 2, 5, 100])
@pytest.mark.parametrize("start", [b"LOGIN anna ", b"? log\tanna ", b"  LOGIN anna\t"])
def test_no_secret_is_echoed_however_it_is_cut(start: bytes, size: int) -> None:
    """CONTRACT section 3, LOGIN: never echoed."""
    line = start + b"opensesame 1"
    pieces = [line[at : at + size] for at in range(0, len(line), size)]
    _, echoed = typed(*pieces, settings=replace(PLAIN, echo=True))
    assert echoed == start.replace(b"\t", b"")


@pytest.mark.parametrize(("negotiated", "blank"), [(True, b"\xff\xff"), (False, b"\xff")])
def test_a_blank_at_ffh_is_doubled_too(negotiated: bool, blank: bytes) -> None:
    charset = table_charset("odd", ASCII.replace(" ", UNDEFINED)[:-1] + " ")
    echoing = replace(PLAIN, echo=True, charset=charset)
    output = bytearray()
    line = TypedLine(output)
    line.type(b"A", echoing, negotiated)
    line.rub_out(echoing, negotiated)
    assert bytes(output) == b"A\b" + blank + b"\b"


def test_a_long_line_costs_no_more_to_echo_than_a_short_one() -> None:
    """A data line of a TELL may have a megabyte, and come a byte at a time."""

    def seconds(length: int) -> float:
        echoing, line = replace(PLAIN, echo=True), TypedLine(bytearray())
        line.limit = limits.DATA_BYTES
        line.type(b">" * length, echoing, negotiated=False)
        began = time.perf_counter()
        for _ in range(200):
            line.type(b"a", echoing, negotiated=False)
        return time.perf_counter() - began

    short, long = (min(seconds(length) for _ in range(3)) for length in (200, limits.DATA_BYTES - 200))
    assert long < 20 * short


def test_a_data_line_is_given_away_in_pieces_and_cannot_be_taken_back_then() -> None:
    line = TypedLine(bytearray())
    line.data_lines = True
    size = limits.PIECE_BYTES + limits.LINE_BYTES
    part = line.type(b">" + b"a" * (size - 1), PLAIN, negotiated=False)
    piece = b"a" * (limits.PIECE_BYTES - 1)
    assert part == (piece, b">" + piece)
    assert (line.continued, len(line.line)) == (True, limits.LINE_BYTES)
    line.erase()
    assert line.overlong
