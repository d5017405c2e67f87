"""Records of a page as they are kept: what comes out is what plain lists of the same texts give."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.session.files.keeping import HexRecords, PackedRecords

ROOM = 6
TEXTS = st.lists(st.text(st.sampled_from("aé日🎵 +"), max_size=ROOM).map(lambda text: text.ljust(ROOM)))


@given(st.binary(max_size=900), st.integers(2, 9))
def test_hex(data: bytes, width: int) -> None:
    """Python's own `bytes.hex` is the yardstick."""
    size = width // 2
    wanted = [data[start : start + size].hex().upper().ljust(width) for start in range(0, len(data), size)]
    records = HexRecords(data, width)
    assert len(records) == len(wanted)
    assert list(records) == wanted == list(records)
    assert [records[index] for index in range(len(wanted))] == wanted
    assert records[1:3] == wanted[1:3]
    assert records[-2:] == wanted[-2:]
    for index in (len(wanted), -len(wanted) - 1):
        with pytest.raises(IndexError):
            records[index]


@given(TEXTS, TEXTS)
def test_packed(first: list[str], second: list[str]) -> None:
    records = PackedRecords(ROOM, first)
    records.add(PackedRecords(ROOM, second))
    wanted = first + second
    assert len(records) == len(wanted)
    assert bool(records) == bool(wanted)
    assert list(records) == wanted == list(records)
    assert [records[index] for index in range(len(wanted))] == wanted
    assert records.size == sum(len(text.rstrip(" ").encode()) for text in wanted)
    with pytest.raises(IndexError):
        records[len(wanted)]


@given(TEXTS, st.integers(0, 9), st.integers(0, 40))
def test_split(texts: list[str], count: int, most: int) -> None:
    rest = PackedRecords(ROOM, texts)
    taken = rest.split(count, most)
    assert list(taken) + list(rest) == texts
    assert len(taken) <= count
    if texts and count:
        assert len(taken) == 1 or (taken and taken.size <= most)
    if len(taken) < min(count, len(texts)):
        assert taken.size + len(rest[0].rstrip(" ").encode()) > most
