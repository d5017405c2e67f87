"""Block 0 of YMODEM: hand-made ones, as the description shows them (from memory), and hostile ones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.wire.blocks.effects import Document
from gateway.wire.blocks.heading import LAST, read, write

NAMES = st.text(
    st.characters(exclude_categories=["C", "Z"], exclude_characters="/\\"), min_size=1, max_size=60
)


def test_a_heading_by_hand() -> None:
    """1,000,000,000 seconds are 7346545000 octal: 9 September 2001, 01:46:40 UTC."""
    text = b"boats and tides.txt\x001025 7346545000"
    assert write(Document("boats and tides.txt", 1025, 1_000_000_000)) == text.ljust(128, b"\0")


@pytest.mark.parametrize(
    ("data", "document"),
    [
        (b"A.TXT\0", Document("A.TXT")),
        (b"A.TXT\x00123", Document("A.TXT", 123)),
        (b"a b.txt\x00123 7346545000 100644 0 1 123\0", Document("a b.txt", 123, 1_000_000_000)),
        (b"a\x000 0 0", Document("a", 0)),
        (b"a\x0012x", Document("a")),
        (b"a\x00-1", Document("a")),
        (b"a\x0012 9", Document("a", 12)),
        (b"a\x00 12", Document("a")),
        (b"pub/tides/low.csv\x005", Document("low.csv", 5)),
        (b"..\\..\\boot.ini\x005", Document("boot.ini", 5)),
        (b"../..\x005", Document("document", 5)),
        (b"dir/\x005", Document("document", 5)),
        (b"a\x1b[2Jb\r\n\x005", Document("a[2Jb", 5)),
        ("Möwe.txt".encode() + b"\0", Document("Möwe.txt")),
        ("Möwe.txt".encode("latin-1") + b"\0", Document("Möwe.txt")),
        (b"a" * 128, Document("a" * 128)),
    ],
)
def test_headings_of_others(data: bytes, document: Document) -> None:
    assert read(data.ljust(128, b"\0")) == document


def test_the_last_heading_is_noughts() -> None:
    assert bytes(128) == LAST
    assert read(LAST) is None


@given(NAMES, st.none() | st.integers(0, 10**15), st.none() | st.integers(1, 2**40))
def test_what_is_written_is_read(name: str, size: int | None, modified: int | None) -> None:
    expected = Document(
        name if name not in {".", ".."} else "document", size, modified if size is not None else None
    )
    assert read(write(Document(name, size, modified))) == expected


@given(st.binary(max_size=1024))
def test_no_block_is_too_strange(data: bytes) -> None:
    found = read(data)
    if found is not None:
        assert found.name.strip() not in {"", ".", ".."}
        assert not set(found.name) & set("/\\\0\r\n\x1b")


def test_a_long_name_takes_a_kilobyte_and_a_longer_one_is_refused() -> None:
    assert len(write(Document("n" * 126))) == 128
    assert len(write(Document("n" * 127))) == 1024
    for name in ("n" * 1024, "", "a\0b", "a\nb"):
        with pytest.raises(ValueError, match="name"):
            write(Document(name))
