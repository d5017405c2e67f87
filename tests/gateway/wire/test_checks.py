"""Checks: a sum modulo 256, and CRC-16/XMODEM against its published check value and its definition."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import NotARequest
from gateway.wire.checks import digits, without_check
from gateway.wire.settings import CHECK_WIDTHS

KINDS = st.sampled_from(["sum", "crc"])
LINES = st.binary(max_size=80).filter(lambda line: b" *" not in line)


def polynomial(data: bytes) -> int:
    """CRC-16/XMODEM from its definition, a bit at a time: the remainder of data * x^16 by x^16+x^12+x^5+1."""
    value = 0
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value


def test_the_published_check_value() -> None:
    """The catalogue of parametrised CRC algorithms gives 31C3h for CRC-16/XMODEM of "123456789"."""
    assert digits(b"123456789", "crc") == "31C3"


def test_a_sum_by_hand() -> None:
    """31h + .. + 39h is 1DDh (common practice: a sum modulo 256)."""
    assert digits(b"123456789", "sum") == "DD"
    assert digits(b"", "sum") == "00"


@given(st.binary(max_size=300))
def test_crc_is_the_remainder_that_its_name_says(data: bytes) -> None:
    assert digits(data, "crc") == f"{polynomial(data):04X}"


@given(LINES, KINDS)
def test_a_line_with_its_check_comes_back_without(line: bytes, kind: str) -> None:
    check = digits(line, kind)
    assert len(check) == CHECK_WIDTHS[kind]
    for written in (check, check.lower(), check + " "):
        assert without_check(line + b" *" + written.encode(), kind) == line


@given(LINES, KINDS)
def test_no_check_is_none(line: bytes, kind: str) -> None:
    assert without_check(line, kind) is None


@pytest.mark.parametrize(
    "line", [b"A *", b"A *1", b"A *123", b"A *12345", b"A *12G4", b"A * 31C3", b"A*31C3"]
)
def test_what_is_no_check_is_none(line: bytes) -> None:
    assert without_check(line, "crc") is None


@given(LINES.filter(len), KINDS, st.data())
def test_one_bit_that_is_wrong_is_found(line: bytes, kind: str, data: st.DataObject) -> None:
    sent = bytearray(line + b" *" + digits(line, kind).encode())
    at = data.draw(st.integers(0, len(line) - 1))
    sent[at] ^= 1 << data.draw(st.integers(0, 7))
    if b" *" not in sent[: len(line)]:
        with pytest.raises(NotARequest):
            without_check(bytes(sent), kind)


def test_a_prompt_may_be_counted_in_or_not() -> None:
    for counted in (b"MORE", b"? MORE"):
        assert without_check(b"? MORE *" + digits(counted, "crc").encode(), "crc") == b"? MORE"


def test_a_tab_is_a_blank() -> None:
    """CONTRACT section 1; the check is of the bytes before that blank."""
    for line in (b"NOOP\t*%s", b"NOOP *%s\t", b"NOOP\t*%s \t"):
        assert without_check(line % digits(b"NOOP", "crc").encode(), "crc") == b"NOOP"
    assert without_check(b"A\t*1 *" + digits(b"A\t*1", "sum").encode(), "sum") == b"A\t*1"
    assert without_check(b"A *1\t*" + digits(b"A *1", "sum").encode(), "sum") == b"A *1"


def test_the_last_star_counts() -> None:
    assert without_check(b"PICK a *12 *" + digits(b"PICK a *12", "sum").encode(), "sum") == b"PICK a *12"
