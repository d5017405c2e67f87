"""Intel HEX: checked against the specification's own rules and by a reader of others.

"Hexadecimal Object File Format Specification", revision A, Intel, 6 January 1988 (from memory): record marks,
load offsets, types and the checksum. The reader is PyPI's intelhex (BSD), 2.3.0.
"""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex  # type: ignore[import-untyped]

from gateway.extract.dumps import IntelDump
from gateway.extract.plan import Record

ROOMS = st.integers(15, 255)
OFFSETS = st.one_of(
    st.integers(0, 0x2_0100),
    st.integers(0xFF80, 0x1_0010),
    st.integers(0xFFFF_0000 - 400, 0xFFFF_FFFF - 400),
)


def whole(data: bytes, room: int, offset: int = 0, ended: bool = True) -> list[Record]:
    dump = IntelDump(room, offset)
    return [*dump.feed(data), *dump.finish(ended)]


def texts(records: list[Record]) -> list[str]:
    return [record.text.rstrip(" ") for record in records]


def test_records_as_the_specification_lays_them_out() -> None:
    # By hand: 03+00+30+00+02+33+7A = E2, and 100h - E2 = 1E. The end of file record is the
    # specification's own.
    assert texts(whole(b"\x02\x33\x7a", 40, 0x30)) == [":0300300002337A1E", ":00000001FF"]


def test_an_extended_linear_address_goes_before_what_lies_beyond_64_kb() -> None:
    assert texts(whole(b"\xaa\xbb", 40, 0xFFFF)) == [
        ":01FFFF00AA57",
        ":020000040001F9",
        ":01000000BB44",
        ":00000001FF",
    ]


@pytest.mark.parametrize(("room", "count"), [(15, 2), (16, 2), (40, 14), (43, 16), (255, 16)])
def test_as_many_bytes_as_fit_up_to_sixteen(room: int, count: int) -> None:
    assert int(whole(bytes(100), room)[0].text[1:3], 16) == count


def test_only_the_document_s_end_has_an_end_of_file_record() -> None:
    assert texts(whole(b"\0", 40, ended=False)) == [":0100000000FF"]
    assert texts(whole(b"", 40)) == [":00000001FF"]
    assert whole(b"", 40, ended=False) == []


@given(data=st.binary(min_size=1, max_size=400), room=ROOMS, offset=OFFSETS)
def test_a_reader_reads_what_was_written(data: bytes, room: int, offset: int) -> None:
    records = texts(whole(data, room, offset))
    reader = IntelHex(io.StringIO("\n".join(records) + "\n"))
    assert (reader.minaddr(), reader.tobinstr()) == (offset, data)


@given(data=st.binary(max_size=400), room=ROOMS, offset=OFFSETS)
def test_every_record_fits_sums_to_nought_and_stays_within_its_64_kb(
    data: bytes, room: int, offset: int
) -> None:
    for record in whole(data, room, offset):
        assert len(record.text) == room
        text = record.text.rstrip(" ")
        body = bytes.fromhex(text[1:])
        assert text[0] == ":" and text == text.upper() and sum(body) % 256 == 0 and body[0] == len(body) - 5
        assert int.from_bytes(body[1:3], "big") + body[0] <= 0x1_0000


@given(pieces=st.lists(st.binary(max_size=50)), room=ROOMS, offset=OFFSETS, ended=st.booleans())
def test_chunking_never_matters(pieces: list[bytes], room: int, offset: int, ended: bool) -> None:
    dump = IntelDump(room, offset)
    fed = [record for piece in pieces for record in dump.feed(piece)]
    assert [*fed, *dump.finish(ended)] == whole(b"".join(pieces), room, offset, ended)


@given(room=ROOMS, records=st.integers(1, 50), offset=OFFSETS)
def test_what_is_wanted_gives_at_least_so_many_records_but_for_one_that_a_border_broke(
    room: int, records: int, offset: int
) -> None:
    dump = IntelDump(room, offset)
    made = dump.feed(bytes(dump.wanted(records)))
    assert records <= len(made) <= records + 2


def test_an_address_beyond_32_bits_starts_again() -> None:
    assert texts(whole(b"\1\2", 40, 0xFFFF_FFFF))[1:3] == [":01FFFF000100", ":020000040000FA"]
