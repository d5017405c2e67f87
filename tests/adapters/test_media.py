"""A name's ending -> a media type of the IANA registry (https://www.iana.org/assignments/media-types)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.media import media_type_of


@pytest.mark.parametrize(
    ("name", "media_type"),
    [
        (b"tides.json", "application/json"),  # RFC 8259 section 11
        (b"TIDES.JSON", "application/json"),
        (b"tides.csv", "text/csv"),  # RFC 4180 section 3
        (b"index.html", "text/html"),  # RFC 2854
        (b"index.htm", "text/html"),
        (b"feed.xml", "text/xml"),  # RFC 7303 section 9.2; Python's table has it so
        (b"feed.atom", "application/atom+xml"),  # RFC 4287 section 7
        (b"read me.txt", "text/plain"),  # RFC 2046 section 4.1.3
        (b"notes.md", "text/markdown"),  # RFC 7763 section 2
        (b"rows.ndjson", "application/x-ndjson"),  # common practice, not registered
        (b"game.bas", "text/plain"),  # common practice: a listing
        (b"picture.png", "image/png"),
        (b"archive.tar.gz", ""),
        (b"README", ""),
        (b".txt", "text/plain"),
        (b"name.", ""),
        (b"x.\xff\xfe", ""),
        (b"a.b/c", ""),
        (b"", ""),
    ],
)
def test_by_ending(name: bytes, media_type: str) -> None:
    assert media_type_of(name) == media_type


@given(st.binary(max_size=40))
def test_any_bytes_have_a_type_or_none(name: bytes) -> None:
    found = media_type_of(name)
    assert found == "" or found.count("/") == 1
    assert found == found.lower()
