"""The dump in the document's own lines, CONTRACT section 5 `bytes`."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.extract.dumps import LineDump, lines
from gateway.extract.fields.text import Lettering
from gateway.extract.plan import Record

ASCII = Lettering("ascii")
ROOMS = st.integers(15, 60)
BYTES = st.one_of(
    st.binary(max_size=200),
    st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")),
    st.lists(st.sampled_from([b"\r", b"\n", b"\r\n", b"word ", b"\xc3\xa9", b"\xe9", b"x" * 39])).map(
        b"".join
    ),
)


def whole(data: bytes, room: int = 16, ended: bool = True, lettering: Lettering = ASCII) -> list[str]:
    dump = LineDump(room, lettering)
    return [record.text for record in [*dump.feed(data), *dump.finish(ended)]]


def test_a_long_line_continues_and_a_short_one_does_not() -> None:
    assert whole(b"0123456789abcdefgh\nshort\n") == [
        "0123456789abcde+",
        "fgh             ",
        "short           ",
    ]


def test_a_line_as_long_as_the_room_does_not_continue() -> None:
    assert whole(b"0123456789abcde\n\n") == ["0123456789abcde ", " " * 16]


@pytest.mark.parametrize("end", [b"\r\n", b"\r", b"\n"])
def test_every_line_end_ends_a_line(end: bytes) -> None:
    assert whole(b"a" + end + end + b"b" + end) == ["a".ljust(16), " " * 16, "b".ljust(16)]


def test_a_last_line_needs_no_end_and_continues_only_where_the_document_does() -> None:
    assert whole(b"a\nb") == ["a".ljust(16), "b".ljust(16)]
    assert whole(b"a\nb", ended=False) == ["a".ljust(16), "b".ljust(15) + "+"]
    assert whole(b"a\n", ended=False) == ["a".ljust(16)]
    assert whole(b"") == []


def test_blanks_stay_and_controls_are_blanks() -> None:
    assert whole(b"  a  b\t\x1b[2J\0 \n") == ["  a  b  [2J     "]


def test_bytes_that_are_not_utf_8_are_latin_1_as_commonly_meant() -> None:
    assert whole("é€ß".encode()) == ["eEURss".ljust(16)]
    assert whole(b"\xe9\x80\xdf") == ["eEURss".ljust(16)]
    assert whole(b"\xe9", lettering=Lettering("latin-1")) == ["é".ljust(16)]


def test_a_separator_that_unicode_has_forges_no_line() -> None:
    assert whole("a\u2028b\u0085c\x0bd\x0ce".encode()) == ["a b c d e".ljust(16)]


@given(data=BYTES, room=ROOMS)
def test_every_record_is_as_wide_as_wanted_and_ascii(data: bytes, room: int) -> None:
    for text in whole(data, room):
        assert len(text) == room and text.isascii() and text.isprintable() and text[-1] in "+ "


@given(lines=st.lists(st.text("ab cd", max_size=50)), room=ROOMS)
def test_the_lines_can_be_put_together_again(lines: list[str], room: int) -> None:
    records = whole("".join(f"{line}\n" for line in lines).encode(), room)
    joined = "".join(text[:-1] if text[-1] == "+" else text[:-1].rstrip(" ") + "\n" for text in records)
    assert joined == "".join(line.rstrip(" ") + "\n" for line in lines)


@given(pieces=st.lists(BYTES, max_size=6), room=ROOMS, ended=st.booleans())
def test_chunking_never_matters(pieces: list[bytes], room: int, ended: bool) -> None:
    data = b"".join(pieces)
    cuttings = (pieces, [data[place : place + 1] for place in range(len(data))])
    for cutting in cuttings:
        dump = LineDump(room, ASCII)
        fed: list[Record] = [record for piece in cutting for record in dump.feed(piece)]
        assert [record.text for record in [*fed, *dump.finish(ended)]] == whole(data, room, ended)


def test_a_line_without_end_is_laid_out_as_it_comes() -> None:
    dump = LineDump(40, ASCII)
    made = sum(len(dump.feed(b"x" * 65_536)) for _ in range(16))
    assert made * 39 > 15 * 65_536
    whole_at_once = LineDump(40, ASCII)
    assert len(whole_at_once.feed(b"x" * 65_536 * 16)) == made


@pytest.mark.parametrize("records", [1, 24, 1000])
def test_what_is_wanted_is_some_of_it(records: int) -> None:
    dump = LineDump(40, ASCII)
    assert len(dump.feed((b"y" * 18 + b"\n") * dump.wanted(records))[: records + 1]) >= records


def test_the_way_out_of_utf_8_is_for_reading_alone() -> None:
    with pytest.raises(UnicodeEncodeError):
        "\u00fc".encode("ascii", lines._BYTEWISE)
