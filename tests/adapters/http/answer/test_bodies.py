"""Bodies: gzip checked to its end, never over a limit (RFC 1952; Python's gzip module as the reference)."""

import gzip
import random
import tracemalloc
import zlib
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import BrokenOff, HeadraceError, TooLarge, WrongDocument
from adapters.http.answer.bodies import Body, Expander, is_gzip

ROOM = 1 << 20
TEXT = b'{"place": "Harbour", "level": 1.10}' * 20


def pieces(data: bytes, size: int) -> Iterator[bytes]:
    for start in range(0, len(data), size):
        yield data[start : start + size]


def expanded(data: bytes, size: int = 65_536, raw_limit: int = ROOM, expanded_limit: int = ROOM) -> bytes:
    body = Body(gzip=True, raw_limit=raw_limit, expanded_limit=expanded_limit)
    for piece in pieces(data, size):
        list(body.feed(piece))
    return body.finish()


SIZES = (1, 2, 3, 7, 65_536)


@pytest.mark.parametrize("size", SIZES)
def test_one_member(size: int) -> None:
    assert expanded(gzip.compress(TEXT), size) == TEXT


@pytest.mark.parametrize("size", SIZES)
def test_several_members_are_one_body(size: int) -> None:
    """RFC 1952 section 2.2: members simply follow one another."""
    data = gzip.compress(TEXT) + gzip.compress(b"") + gzip.compress(b"second")
    assert expanded(data, size) == TEXT + b"second" == gzip.decompress(data)


@pytest.mark.parametrize("size", SIZES)
def test_zero_padding_is_skipped(size: int) -> None:
    data = gzip.compress(TEXT) + b"\0" * 600 + gzip.compress(b"second") + b"\0"
    assert expanded(data, size) == TEXT + b"second" == gzip.decompress(data)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "plain", [b"", b"{}", b'{"n":1}', b"\x1f{}", b"\x8b\x1f", b" " + gzip.compress(TEXT, mtime=0), b"{"]
)
def test_a_plain_body_labelled_gzip_is_taken_as_it_is(plain: bytes, size: int) -> None:
    assert expanded(plain, size) == plain


@pytest.mark.parametrize("size", SIZES)
def test_cut_short_anywhere_is_never_a_body(size: int) -> None:
    data = gzip.compress(TEXT) + gzip.compress(b"second")
    whole_first = len(gzip.compress(TEXT))
    for end in range(1, len(data)):
        if end == whole_first:
            continue  # a complete body of one member: nothing in it tells that another was to come
        with pytest.raises(BrokenOff):
            expanded(data[:end], size)


@pytest.mark.parametrize("junk", [b"\n", b"junk", b"\0\0junk", b"\x1f", b"\x1f\x8b", b"<!-- cached -->"])
def test_junk_after_the_last_member(junk: bytes) -> None:
    """Python's gzip module refuses it too."""
    with pytest.raises((gzip.BadGzipFile, EOFError)):
        gzip.decompress(gzip.compress(TEXT) + junk)
    with pytest.raises(BrokenOff):
        expanded(gzip.compress(TEXT) + junk)


@pytest.mark.parametrize("place", [-1, -3, -5, -8], ids=["length", "length", "crc", "crc"])
def test_wrong_check_values(place: int) -> None:
    """RFC 1952 section 2.3.1: CRC32 and ISIZE."""
    data = bytearray(gzip.compress(TEXT))
    data[place] ^= 0x40
    with pytest.raises(BrokenOff):
        expanded(bytes(data))


@given(st.data())
def test_it_agrees_with_python_s_gzip_on_damaged_data(data: st.DataObject) -> None:
    whole = bytearray(gzip.compress(data.draw(st.binary(max_size=200)), mtime=0))
    for _ in range(data.draw(st.integers(0, 2))):
        whole[data.draw(st.integers(2, len(whole) - 1))] = data.draw(st.integers(0, 255))
    damaged = bytes(whole)[: data.draw(st.integers(2, len(whole)))]
    size = data.draw(st.integers(1, 50))
    try:
        reference = gzip.decompress(damaged)
    except (EOFError, zlib.error, gzip.BadGzipFile):
        reference = None
    try:
        assert expanded(damaged, size) == reference
    except BrokenOff:
        # zlib also checks reserved flags and the header's CRC (RFC 1952 section 2.3.1), Python's does not
        assert reference is None or damaged[3] & 0xE2


@given(st.binary(max_size=300), st.integers(1, 40))
def test_no_bytes_are_too_odd(data: bytes, size: int) -> None:
    for body in (b"\x1f\x8b" + data, data):
        try:
            expanded(body, size)
        except HeadraceError as error:
            assert type(error) in (BrokenOff, TooLarge)


@pytest.fixture(scope="module")
def bomb() -> bytes:
    return gzip.compress(bytes(100 << 20), 9)


@pytest.mark.parametrize("size", [1000, 65_536, ROOM])
def test_a_bomb_is_refused_without_being_expanded(bomb: bytes, size: int) -> None:
    assert len(bomb) < ROOM
    tracemalloc.start()
    with pytest.raises(TooLarge):
        expanded(bomb, size)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 4 * ROOM


def test_limits_are_exact() -> None:
    data = gzip.compress(bytes(ROOM))
    assert len(expanded(data, expanded_limit=ROOM)) == ROOM
    with pytest.raises(TooLarge):
        expanded(data, expanded_limit=ROOM - 1)
    assert len(expanded(data, raw_limit=len(data))) == ROOM
    with pytest.raises(TooLarge):
        expanded(data, raw_limit=len(data) - 1)


def test_a_body_as_large_as_a_step_is_whole() -> None:
    for length in (limits.EXPAND_STEP_BYTES - 1, limits.EXPAND_STEP_BYTES, limits.EXPAND_STEP_BYTES + 1):
        text = random.Random(1).randbytes(length)
        assert expanded(gzip.compress(text)) == text


def test_too_many_members() -> None:
    empty = gzip.compress(b"")
    assert expanded(empty * limits.GZIP_MEMBERS) == b""
    with pytest.raises(TooLarge):
        expanded(empty * (limits.GZIP_MEMBERS + 1))


@given(st.lists(st.binary(max_size=20), max_size=10))
def test_a_plain_body(parts: list[bytes]) -> None:
    body = Body(gzip=False, raw_limit=ROOM)
    for part in parts:
        list(body.feed(part))
    assert body.finish() == b"".join(parts)


def test_a_plain_body_over_its_limit() -> None:
    body = Body(gzip=False, raw_limit=3)
    list(body.feed(b"ab"))
    list(body.feed(b"c"))
    with pytest.raises(TooLarge):
        list(body.feed(b"d"))


@pytest.mark.parametrize("value", ["gzip", "GZIP", "x-gzip", " gzip ", "gzip, identity", ", gzip ,"])
def test_gzip_by_its_names(value: str) -> None:
    """RFC 9110 section 8.4.1.3."""
    assert is_gzip(value)


@pytest.mark.parametrize("value", ["", "identity", "Identity, ", ","])
def test_no_coding(value: str) -> None:
    assert not is_gzip(value)


@pytest.mark.parametrize(
    "value", ["br", "deflate", "zstd", "compress", "gzip, gzip", "deflate, gzip", "gzip;q=1", "utf-8"]
)
def test_codings_nobody_asked_for(value: str) -> None:
    with pytest.raises(WrongDocument):
        is_gzip(value)


def test_no_bytes_at_all_are_no_piece() -> None:
    expander = Expander()
    assert b"".join(expander.feed(b"plain")) == b"plain"
    assert list(expander.feed(b"")) == []
