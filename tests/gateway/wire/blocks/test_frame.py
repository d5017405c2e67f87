"""Frames against ones worked out by hand, and against all that noise can make of them."""

import binascii

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.wire.blocks.frame import EOT, SIZES, SOH, STX, Fault, Frame, build, check, length, read

TEXTS = st.binary(min_size=1, max_size=1024)


def test_a_frame_with_a_checksum_by_hand() -> None:
    """`AB` and 126 times 1Ah: 41h + 42h + 126 * 26 = 131 + 3,276 = 3,407 = 13 * 256 + 79, so 4Fh."""
    assert build(1, b"AB", crc=False) == bytes.fromhex("01 01 FE") + b"AB" + b"\x1a" * 126 + b"\x4f"


def test_a_frame_of_noughts_has_a_crc_of_nought_by_hand() -> None:
    """CRC-16/XMODEM starts from 0 and adds nothing, so that noughts leave it at 0."""
    assert build(0, bytes(128), crc=True) == bytes.fromhex("01 00 FF") + bytes(128) + b"\0\0"


def test_the_crc_by_hand_and_as_published() -> None:
    """The remainder of a single 1 is the polynomial; 31C3h is the published check of `123456789`."""
    assert check(b"\x01", crc=True) == bytes.fromhex("1021")
    assert check(b"\0" * 127 + b"\x01", crc=True) == bytes.fromhex("1021")
    assert check(b"123456789", crc=True) == bytes.fromhex("31C3")


def test_a_frame_of_a_kilobyte_begins_with_stx() -> None:
    data = bytes(range(256)) * 4
    assert build(255, data, crc=True) == bytes.fromhex("02 FF 00") + data + binascii.crc_hqx(
        data, 0
    ).to_bytes(2, "big")


def test_numbers_go_on_at_0_behind_255() -> None:
    assert build(256, b"A", crc=True)[1:3] == bytes.fromhex("00 FF")


@given(st.integers(0, 1000), TEXTS, st.booleans())
def test_what_is_built_is_read(number: int, data: bytes, crc: bool) -> None:
    frame = build(number, data, crc=crc)
    assert len(frame) == length(frame[0], crc=crc)
    found = read(frame, crc=crc)
    assert isinstance(found, Frame)
    assert found.number == number % 256
    assert found.data == data + b"\x1a" * (SIZES[frame[0]] - len(data))


@given(TEXTS, st.integers(1, 1100), st.integers(1, 255), st.booleans())
def test_one_damaged_byte_behind_the_first_is_found(data: bytes, at: int, bits: int, crc: bool) -> None:
    frame = bytearray(build(7, data, crc=crc))
    frame[1 + at % (len(frame) - 1)] ^= bits
    assert isinstance(read(bytes(frame), crc=crc), Fault)


@pytest.mark.parametrize("number", [1, 2, 127, 128, 255])
def test_a_line_of_seven_bits_is_told_apart(number: int) -> None:
    frame = bytes(byte & 0x7F for byte in build(number, b"plain", crc=True))
    assert read(frame, crc=True) is Fault.SEVEN_BITS


def test_the_codes_differ_by_two_bits_from_each_other_on_each_way() -> None:
    """So that one changed bit never makes one of another: ACK, NAK, CAN, `C`; SOH, STX, EOT, CAN."""
    for codes in ((0x06, 0x15, 0x18, 0x43), (SOH, STX, EOT, 0x18)):
        assert all((one ^ other).bit_count() >= 2 for one in codes for other in codes if one != other)
