"""Which characters a body has (XML 1.0 appendix F, RFC 2781), and that its bytes come out as they went in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.recorded.tree.characters import NARROW, characters_of


@pytest.mark.parametrize("text", ["<?xml ?>", "{\n", "\ufeffé"])
@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be"])
def test_wide_characters(text: str, codec: str) -> None:
    data = text.encode(codec)
    found = characters_of(data)
    assert (found.codec, found.text(data), found.data(text)) == (codec, text, data)


@pytest.mark.parametrize("data", [b"", b"Ti", b"Tides", b"\0\0\0\0", b"T\0\0x", "Möwe".encode(), b"\x89PNG"])
def test_no_wide_characters(data: bytes) -> None:
    assert characters_of(data) is NARROW


@given(st.lists(st.sampled_from([b"\xff\xfe", b"a\0", b"\0\xd8", b"\0\xdc", b"\x3c\xd8"])))
def test_halves_of_pairs_stay_as_they_are(units: list[bytes]) -> None:
    data = b"".join([b"\xff\xfe", *units])
    found = characters_of(data + b"a\0")
    assert found.data(found.text(data)) == data
