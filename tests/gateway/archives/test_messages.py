"""What becomes of answers that other tools kept, checked against the codecs of zlib and brotli."""

import gzip
import tracemalloc
import zlib
from collections.abc import Callable
from pathlib import Path

import brotli
import pytest

from adapters import limits
from adapters.recorded.exchange import Content, Headers, Message
from gateway.archives.messages import Store, TooMuch, asked_url, message
from gateway.archives.outcome import LeftOut

BODY = b'{"lamp": 3}' * 40
TYPE = ("Content-Type", "application/json")


def raw_deflate(data: bytes) -> bytes:
    engine = zlib.compressobj(wbits=-15)
    return engine.compress(data) + engine.flush()


def made(status: int, headers: Headers, data: bytes, tmp_path: Path, **how: bool) -> Message | LeftOut:
    chunks = [data[at : at + 7] for at in range(0, len(data), 7)]
    return message("GET", status, headers, chunks, Store(tmp_path), **how)


@pytest.mark.parametrize(
    ("coding", "pack", "squeezed"),
    [
        ("gzip", gzip.compress, True),
        ("x-gzip", gzip.compress, True),
        ("gzip", lambda data: data, False),  # labelled so, and not so
        ("deflate", zlib.compress, False),
        ("deflate", raw_deflate, False),
        ("br", brotli.compress, False),
        ("identity", lambda data: data, False),
    ],
)
def test_codings_are_off(coding: str, pack: Callable[[bytes], bytes], squeezed: bool, tmp_path: Path) -> None:
    packed = pack(BODY)
    headers = (
        TYPE,
        ("Content-Encoding", coding),
        ("Content-Length", str(len(packed))),
        ("Connection", "close"),
    )
    kept = (TYPE,) if coding != "identity" else (TYPE, ("Content-Encoding", coding))
    assert made(200, headers, packed, tmp_path) == Message(200, kept, Content(BODY), squeezed=squeezed)


@pytest.mark.parametrize("pack", [zlib.compress, raw_deflate])
def test_deflate_is_known_by_its_first_two_bytes_in_whatever_pieces(
    pack: Callable[[bytes], bytes], tmp_path: Path
) -> None:
    """RFC 1950 section 2.2: CMF and FLG; RFC 1951 has no such head."""
    chunks = [bytes((each,)) for each in pack(BODY)]
    reply = message("GET", 200, (("Content-Encoding", "deflate"),), chunks, Store(tmp_path))
    assert reply == Message(200, (), Content(BODY))


def test_no_bytes_and_one_byte_of_deflate(tmp_path: Path) -> None:
    headers = (("Content-Encoding", "deflate"),)
    assert made(200, headers, b"", tmp_path) == Message(200, (), Content(b""))
    reply = made(200, headers, b"\x07", tmp_path)  # a block of the kind that RFC 1951 section 3.2.3 reserves
    assert isinstance(reply, Message)
    assert reply.failure is not None


@pytest.mark.parametrize(
    ("coding", "data"),
    [
        ("gzip", gzip.compress(BODY, mtime=0)[:-5]),
        ("deflate", zlib.compress(BODY)[:-5]),
        ("deflate", zlib.compress(BODY)[:10] + b"\0\0\0\0\0\0"),
        ("br", brotli.compress(BODY)[:-5]),
        ("br", brotli.compress(BODY) + b"more"),
        ("br", b"\xff" * 9),
        ("", BODY[:20]),
    ],
)
def test_what_is_cut_or_broken_broke_off(coding: str, data: bytes, tmp_path: Path) -> None:
    headers = (("Content-Encoding", coding),) if coding else (("Content-Length", "400"),)
    reply = made(200, headers, data, tmp_path)
    assert isinstance(reply, Message)
    assert reply.failure is not None
    assert reply.failure.name == "BrokenOff"
    page = made(404, headers, data, tmp_path)  # of which nobody needs the whole
    assert isinstance(page, Message)
    assert (page.failure, page.length) == (None, None)


def test_what_the_tool_cut_is_there_in_part(tmp_path: Path) -> None:
    assert made(200, (("Content-Length", "440"),), BODY[:20], tmp_path, cut=True) == Message(
        200, (), Content(BODY[:20]), length=440
    )
    assert made(200, (), BODY[:20], tmp_path, cut=True) == LeftOut("cut short by the tool that kept it")


@pytest.mark.parametrize("coding", ["zstd", "gzip, gzip"])
def test_other_codings_are_left_out(coding: str, tmp_path: Path) -> None:
    assert isinstance(made(200, (("Content-Encoding", coding),), b"x", tmp_path), LeftOut)
    off = made(200, (("Content-Encoding", coding),), b"x", tmp_path, decoded=True)
    assert off == Message(200, (), Content(b"x"))


def quick_brotli(data: bytes) -> bytes:
    packed: bytes = brotli.compress(data, quality=1)
    return packed


@pytest.mark.parametrize(("coding", "pack"), [("br", quick_brotli), ("deflate", zlib.compress)])
def test_a_little_that_stands_for_much_comes_in_steps(
    coding: str, pack: Callable[[bytes], bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "ARCHIVE_BODY_BYTES", 1 << 20)
    packed = pack(bytes(64 << 20))
    tracemalloc.start()
    reply = message("GET", 200, (("Content-Encoding", coding),), [packed], Store(tmp_path))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert reply == LeftOut("larger than a recording may be")
    assert most < 16 << 20


def test_the_tool_says_that_it_broke_off(tmp_path: Path) -> None:
    reply = made(200, (), BODY, tmp_path, broken=True)
    assert isinstance(reply, Message)
    assert (reply.content, reply.length) == (Content(BODY), None)
    assert reply.failure is not None


def test_a_length_that_is_none_is_not_heard(tmp_path: Path) -> None:
    for length in ("\u0662", "-1", "9" * 5000, "x"):
        assert made(200, (("Content-Length", length),), b"x", tmp_path) == Message(200, (), Content(b"x"))


@pytest.mark.parametrize(
    ("text", "url"),
    [
        ("http://a.example/Caf\u00e9 x?b=\u2603#top", "http://a.example/Caf%C3%A9%20x?b=%E2%98%83"),
        ("http://a.example/%C3%A9?a=[1]|{2}&c=\\", "http://a.example/%C3%A9?a=[1]|{2}&c=\\"),
        ("http://a.example/\x1b[2J\ud800", "http://a.example/%1B[2J%ED%A0%80"),
    ],
)
def test_urls_are_as_they_are_asked_for(text: str, url: str) -> None:
    assert asked_url(text) == url


@pytest.mark.parametrize("status", [204, 205, 304])
def test_answers_without_a_body(status: int, tmp_path: Path) -> None:
    assert made(status, (("Content-Length", "5"),), b"", tmp_path) == Message(status)


def test_head_tells_the_length(tmp_path: Path) -> None:
    reply = message("HEAD", 200, (TYPE, ("Content-Length", "5")), [], Store(tmp_path))
    assert reply == Message(200, (TYPE,), length=5)


def test_long_bodies_are_in_files_until_they_are_dropped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store(tmp_path)
    monkeypatch.setattr(limits, "STAGE_BYTES", 10)
    assert store.content([b"12345", b"67890"]).path is None
    long = store.content([b"12345", b"67890", b"x"])
    assert long.path is not None
    assert long == Content(b"1234567890x")
    monkeypatch.setattr(limits, "ARCHIVE_BODY_BYTES", 10)
    with pytest.raises(TooMuch):
        store.content([b"12345", b"67890", b"x"])
    assert made(200, (), b"12345678901", tmp_path) == LeftOut("larger than a recording may be")
