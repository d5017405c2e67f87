"""Multistatus bodies that come in pieces: an answer means the same however it arrives."""

from datetime import UTC, datetime

import pytest

from adapters.dav.multistatus import MultistatusReader, Response
from adapters.errors import WrongDocument

NOW = datetime(2026, 11, 26, tzinfo=UTC)


@pytest.mark.parametrize(
    "body",
    [
        *(b"<x/>", b"<y/>", b"</x>", b"text", b" \n<x/>"),  # four bytes, which libxml2 tells encodings by
        *(
            b'<?xml \0 version="1.0"?><x/>',
            b"<!-- \0 --><x/>",
            b"<?\0\0 ?><x/>",
            b"\0\0 ?><x/>",
        ),  # NUL, where it looks for the end of a string
        b'<D:multistatus xmlns:D="DAV:">&undeclared;<x/>',  # cut short as well; XML 1.0 section 4.1
    ],
)
@pytest.mark.parametrize("size", [1, 3, 100])
def test_what_is_no_xml_is_not_cut_short_however_it_arrives(body: bytes, size: int) -> None:
    """XML 1.0 section 2.2: NUL is no character; appendix F: what the first four bytes tell."""
    reader = MultistatusReader(NOW)
    with pytest.raises(WrongDocument):  # whichever of them raises it
        for start in range(0, len(body), size):
            reader.feed(body[start : start + size])
        reader.finish()


@pytest.mark.parametrize("codec", ["utf-16", "utf-16-le", "utf-16-be"])
def test_the_nuls_of_utf_16_are_none(codec: str) -> None:
    """Without a byte order mark the declaration tells (XML 1.0 appendix F)."""
    text = '<?xml version="1.0"?><multistatus xmlns="DAV:"><response><href>/a</href></response></multistatus>'
    body = text.encode(codec)
    for size in (1, 100):
        reader = MultistatusReader(NOW)
        for start in range(0, len(body), size):
            reader.feed(body[start : start + size])
        assert reader.finish().responses == (Response(("/a",)),)
