"""A response's body: codings that nobody asked for, and answers without one."""

import asyncio
import gzip

import httpcore
import pytest

from adapters.errors import BrokenOff, WrongDocument
from adapters.http.answer.fields import Fields
from adapters.http.client import HttpClient, Request
from adapters.http.link.receiving import Receiving
from tests.adapters.http.talks import SECONDS, Line, Talk, collected, talking

TEXT = b"harbour " * 50_000


def saying(head: str, body: bytes) -> Talk:
    async def talk(line: Line) -> None:
        while True:
            await line.head()
            await line.say(f"HTTP/1.1 {head}\nContent-Length: {len(body)}\n\n", body)

    return talk


async def test_gzip_that_nobody_asked_for_is_undone(client: HttpClient) -> None:
    """RFC 9110 section 8.4.1.3; two members are one document (RFC 1952 section 2.2)."""
    packed = gzip.compress(TEXT) + gzip.compress(TEXT)
    async with talking(saying("200 OK\nContent-Encoding: gzip", packed)) as server:
        answer, body = await collected(client, Request("GET", server.target("/text")))
        assert answer.decoded
        assert body == TEXT + TEXT


@pytest.mark.parametrize("body", [b"x", b"no gzip at all"])
async def test_what_is_called_gzip_and_is_not(client: HttpClient, body: bytes) -> None:
    """Taken as it is, also where it is too short for the two bytes that tell (RFC 1952 section 2.3.1)."""
    async with talking(saying("200 OK\nContent-Encoding: gzip", body)) as server:
        assert (await collected(client, Request("GET", server.target("/text"))))[1] == body


async def test_no_piece_is_empty() -> None:
    """httpcore gives an answer whose bytes are all here as one piece, an empty one too."""
    for body, pieces in ((b"", []), (b"x", [b"x"])):
        response = httpcore.Response(200, content=body, extensions={"network_stream": None})
        deadline = asyncio.get_running_loop().time() + SECONDS
        fields = Fields(response.headers)
        receiving = Receiving(
            response, fields, deadline, lambda error: error, path=b"/", bodiless=False, kept=True
        )
        assert [piece async for piece in receiving.chunks()] == pieces
        await receiving.close()


async def test_a_bomb_expands_in_bounded_steps(client: HttpClient) -> None:
    packed = gzip.compress(bytes(50 << 20))
    async with (
        talking(saying("200 OK\nContent-Encoding: gzip", packed)) as server,
        client.exchange(Request("GET", server.target("/text")), SECONDS) as answer,
    ):
        async for chunk in answer.chunks:
            assert len(chunk) <= 262_144  # limits.EXPAND_STEP_BYTES


@pytest.mark.parametrize("name", ["archive.tar.gz", "archive.tgz", "ARCHIVE.GZ", "old.Z"])
async def test_a_stored_archive_stays_packed(client: HttpClient, name: str) -> None:
    """Servers label what is stored so (common practice of Apache's AddEncoding): the name tells."""
    packed = gzip.compress(TEXT)
    async with talking(saying("200 OK\nContent-Encoding: x-gzip", packed)) as server:
        answer, body = await collected(client, Request("GET", server.target(f"/{name}")))
        assert not answer.decoded
        assert body == packed


@pytest.mark.parametrize("coding", ["br", "deflate", "zstd", "gzip, br", "gzip, gzip"])
async def test_another_coding_cannot_be_read(client: HttpClient, coding: str) -> None:
    async with talking(saying(f"200 OK\nContent-Encoding: {coding}", b"xyz")) as server:
        async with client.exchange(Request("GET", server.target()), SECONDS) as answer:
            assert answer.fault is None
            with pytest.raises(WrongDocument):
                _ = [chunk async for chunk in answer.chunks]
        async with client.exchange(
            Request("PUT", server.target(), body=b"", changes=True), SECONDS
        ) as answer:
            assert answer.fault is None, "a change was made whatever the answer's body is packed with"


async def test_gzip_that_is_broken(client: HttpClient) -> None:
    packed = bytearray(gzip.compress(TEXT))
    packed[-6] ^= 1  # the CRC
    async with talking(saying("200 OK\nContent-Encoding: gzip", bytes(packed))) as server:
        with pytest.raises(BrokenOff):
            await collected(client, Request("GET", server.target("/text")))


@pytest.mark.parametrize("status", ["204 No Content", "304 Not Modified", "205 Reset Content"])
async def test_answers_that_have_no_body(client: HttpClient, status: str) -> None:
    """RFC 9110 sections 15.3.5, 15.3.6 and 15.4.5."""

    async def talk(line: Line) -> None:
        while True:
            await line.head()
            length = "Content-Length: 0\n" if status.startswith("205") else ""
            await line.say(f"HTTP/1.1 {status}\n{length}\n")

    async with talking(talk) as server:
        for _ in range(3):
            answer, body = await collected(client, Request("GET", server.target()))
            assert (answer.status, body) == (int(status[:3]), b"")
        assert len(server.lines) == 1, "the connection is kept"


async def test_head_has_no_body_whatever_it_announces(client: HttpClient) -> None:
    """RFC 9110 section 9.3.2."""

    async def talk(line: Line) -> None:
        while True:
            await line.head()
            await line.say(f"HTTP/1.1 200 OK\nContent-Length: {9 << 30}\n\n")

    async with talking(talk) as server:
        for _ in range(3):
            assert (await collected(client, Request("HEAD", server.target())))[1] == b""
        assert len(server.lines) == 1


async def test_a_body_that_only_the_end_of_the_connection_ends(client: HttpClient) -> None:
    """RFC 9112 section 6.3, the last case."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.0 200 OK\n\n", TEXT)

    async with talking(talk) as server:
        assert (await collected(client, Request("GET", server.target())))[1] == TEXT
