"""The dump in hex pairs, CONTRACT section 5 `bytes`: the outside view is `bytes.fromhex`."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.dumps import HexDump
from gateway.extract.plan import Record

ROOMS = st.integers(15, 255)


def whole(data: bytes, room: int) -> list[Record]:
    dump = HexDump(room)
    return [*dump.feed(data), *dump.finish()]


def test_forty_columns_show_twenty_bytes() -> None:
    records = whole(bytes(range(250, 256)) + bytes(range(18)), 40)
    assert [record.text for record in records] == [
        "FAFBFCFDFEFF000102030405060708090A0B0C0D",
        "0E0F1011" + " " * 32,
    ]


def test_an_odd_room_leaves_a_blank() -> None:
    assert [record.text for record in whole(bytes(20), 39)] == ["00" * 19 + " ", "00" + " " * 37]


def test_nothing_has_no_record() -> None:
    assert whole(b"", 40) == []


@given(data=st.binary(max_size=600), room=ROOMS)
def test_the_records_are_the_bytes(data: bytes, room: int) -> None:
    records = whole(data, room)
    assert bytes.fromhex("".join(record.text for record in records)) == data
    assert all(len(record.text) == room and record.text.rstrip().isalnum() for record in records)
    assert all(record.text.upper() == record.text for record in records)


@given(pieces=st.lists(st.binary(max_size=50)), room=ROOMS)
def test_chunking_never_matters(pieces: list[bytes], room: int) -> None:
    dump = HexDump(room)
    fed = [record for piece in pieces for record in dump.feed(piece)]
    assert [*fed, *dump.finish()] == whole(b"".join(pieces), room)


@pytest.mark.parametrize("room", [15, 40, 255])
@pytest.mark.parametrize("records", [1, 24, 1000])
def test_what_is_wanted_fills_so_many_records(room: int, records: int) -> None:
    dump = HexDump(room)
    assert len(dump.feed(bytes(dump.wanted(records)))) == records
    assert dump.finish() == []
