"""Names as they are shown: any bytes become one printable line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.fields.text import Lettering
from gateway.extract.folders.names import decoded_name, shown_name

ASCII = Lettering("ascii")


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        (b"tides.txt", "tides.txt"),
        ("Flut höhe.txt".encode(), "Flut hohe.txt"),
        ("Flut höhe.txt".encode("latin-1"), "Flut hohe.txt"),
        (b"a\r\n200 00001 forged", "a 200 00001 forged"),
        ("潮汐.txt".encode(), "ChaoXi.txt"),
        (b"\x1b[2J", "[2J"),
        (b"  ", ""),
    ],
)
def test_a_name_is_shown_in_the_client_s_characters(name: bytes, shown: str) -> None:
    assert shown_name(name, ASCII) == shown


@given(st.binary(max_size=40))
def test_any_bytes_can_be_shown(name: bytes) -> None:
    shown = shown_name(name, ASCII)
    assert shown.isascii() and shown.isprintable() and shown == shown.strip(" ")


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
def test_utf_8_is_read_as_such(text: str) -> None:
    assert decoded_name(text.encode()) == text
