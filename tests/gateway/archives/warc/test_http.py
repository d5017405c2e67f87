"""Heads by RFC 9112 sections 2 to 5; the chunked coding beside h11, as the gateway's links use it."""

from collections.abc import Iterator
from io import BytesIO

import h11
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import BrokenOff
from gateway.archives.warc.http import Head, body, read_head

CHUNKED = Head("HTTP/1.1 200 OK", (("Transfer-Encoding", "Chunked"),))


def pieces(data: bytes, size: int) -> Iterator[bytes]:
    return (data[at : at + size] for at in range(0, len(data), size))


def by_h11(coded: bytes) -> bytes | None:
    """What h11 makes of it; None where it finds it wrong, or not complete."""
    client = h11.Connection(h11.CLIENT)
    client.send(h11.Request(method="GET", target="/", headers=[("Host", "a.example")]))
    client.send(h11.EndOfMessage())
    client.receive_data(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n" + coded)
    client.receive_data(b"")
    found = b""
    try:
        while not isinstance(event := client.next_event(), h11.EndOfMessage):
            found += event.data if isinstance(event, h11.Data) else b""
    except h11.RemoteProtocolError:
        return None
    return found


@given(
    st.lists(
        st.tuples(st.binary(min_size=1, max_size=40), st.sampled_from(["", ";a=b", " ; x"])), max_size=5
    ),
    st.integers(1, 20),
    st.integers(0, 300),
)
def test_chunks_however_they_come_and_wherever_they_end(
    parts: list[tuple[bytes, str]], size: int, end: int
) -> None:
    coded = b"".join(b"%x%s\r\n%s\r\n" % (len(data), more.encode(), data) for data, more in parts)
    coded = (coded + b"0\r\nX-Sum: 1\r\n\r\n")[: end + 1]
    found, wrong = b"", False
    try:
        for piece in body(pieces(coded, size), CHUNKED):
            found += piece
    except BrokenOff:
        wrong = True
    expected = by_h11(coded)
    if expected is not None:
        assert (found, wrong) == (expected, False)
    elif b"\n" in coded.partition(b"0\r\n")[0]:  # the first line is one of the chunked coding
        assert wrong or b"0\r\n" in coded  # h11 waits for the trailer too, which is left unread here
        assert b"".join(data for data, _ in parts).startswith(found)


@pytest.mark.parametrize(
    "coded", [b"5\r\nhello7\r\n", b"5\r\nhello\r\nx\r\n", b"ff\r\nhello", b"2\r\nab\r\n"]
)
def test_what_is_wrong_behind_a_first_chunk_broke_off(coded: bytes) -> None:
    assert by_h11(coded) is None
    with pytest.raises(BrokenOff):
        b"".join(body([coded], CHUNKED))


@pytest.mark.parametrize("data", [b"", b'{"a": 1}\n', b"x" * 10_000, b"-1\r\n", b"\r\n"])
def test_what_a_tool_keeps_without_its_chunks_is_taken_as_it_is(data: bytes) -> None:
    """Common practice of tools that sit between a client and its server."""
    assert b"".join(body(pieces(data, 700), CHUNKED)) == data


def test_large_chunks_pass_in_pieces() -> None:
    chunk = b"x" * limits.CHUNK_BYTES
    coded = [b"%x\r\n" % (8 * len(chunk)), *([chunk] * 8), b"\r\n0\r\n\r\n"]
    sizes = [len(piece) for piece in body(coded, CHUNKED)]
    assert sum(sizes) == 8 * len(chunk)
    assert max(sizes) <= limits.CHUNK_BYTES


def test_a_head() -> None:
    stream = BytesIO(
        b"HTTP/1.1 200 OK\r\nX-Town: M\xf6we\r\nX-Long : a\r\n  b\r\nno field\r\nX-Empty:\r\n\r\nbody"
    )
    head = read_head(stream)
    assert head is not None
    assert head.headers == (("X-Town", "M\xf6we"), ("X-Long", "a b"), ("X-Empty", ""))
    assert (head.status, head.method, stream.read()) == (200, "", b"body")


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("HTTP/1.1 200", 200),
        ("HTTP/2 404 Not Found", 404),
        ("HTTP/1.0 200  Two  words", 200),
        ("HTTP/1.1 600 No", 600),  # RFC 9110 section 15: out of range, but three digits
        ("HTTP/1.1 099 No", None),
        ("HTTP/1.1 OK", None),
        ("ICY 200 OK", None),
    ],
)
def test_status_lines(line: str, status: int | None) -> None:
    assert Head(line, ()).status == status


@pytest.mark.parametrize(
    ("line", "method"),
    [("get /x HTTP/1.1", "GET"), ("M-SEARCH * HTTP/1.1", "M-SEARCH"), ("G\xe9T / x", ""), ("GET", "")],
)
def test_request_lines(line: str, method: str) -> None:
    assert Head(line, ()).method == method


def test_transfer_codings_of_several_lines() -> None:
    head = Head("", (("Transfer-Encoding", "gzip, identity"), ("transfer-encoding", "Chunked")))
    assert head.transfer_codings == ["gzip", "chunked"]


@pytest.mark.parametrize("data", [b"", b"\r\n", b"HTTP/1.1 200 OK\r\nX: " + b"x" * limits.HEADER_BYTES])
def test_no_head(data: bytes) -> None:
    assert read_head(BytesIO(data)) is None


def test_a_head_that_is_all_there_is() -> None:
    assert read_head(BytesIO(b"HTTP/1.1 204 None\r\nX: 1")) == Head("HTTP/1.1 204 None", (("X", "1"),))
