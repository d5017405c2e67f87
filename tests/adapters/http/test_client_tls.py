"""Streaming inside TLS: what arrives, what is heard early, and what is cut short (RFC 8446)."""

import asyncio
import ssl
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import trustme

from adapters.errors import BrokenOff, MayBeDone, Untrusted
from adapters.files import Upload
from adapters.http.client import HttpClient, Request
from tests.adapters.http.servers import LOOPBACK
from tests.adapters.http.talks import SECONDS, Line, collected, field_of, pieces, talking

SIZE = 5 << 20


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def ca(authority: trustme.CA, tmp_path: Path) -> str:
    path = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(path))
    return str(path)


@pytest.fixture
def tls(authority: trustme.CA) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(LOOPBACK).configure_cert(context)
    return context


async def test_large_bodies_both_ways(client: HttpClient, tls: ssl.SSLContext, ca: str) -> None:
    body = bytes(range(256)) * (SIZE // 256)

    async def talk(line: Line) -> None:
        head = await line.head()
        await line.take(int(field_of(head, "content-length") or 0))
        await line.say(f"HTTP/1.1 200 OK\nContent-Length: {len(line.body)}\n\n", line.body)

    async with talking(talk, tls) as server:
        upload = pieces(*(body[start : start + 65_536] for start in range(0, SIZE, 65_536)), size=SIZE)
        request = Request("PUT", server.target(ca=ca), body=upload, changes=True)
        assert (await collected(client, request))[1] == body


async def test_an_answer_before_the_end_is_heard(client: HttpClient, tls: ssl.SSLContext, ca: str) -> None:
    async def endless() -> AsyncIterator[bytes]:
        while True:
            yield bytes(65_536)

    async def talk(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 413 Content Too Large\nContent-Length: 0\n\n")
        await asyncio.sleep(10)

    async with talking(talk, tls) as server, asyncio.timeout(5):
        request = Request("PUT", server.target(ca=ca), body=Upload(endless), changes=True)
        async with client.exchange(request, SECONDS) as answer:
            assert answer.status == 413


async def test_cut_short(client: HttpClient, tls: ssl.SSLContext, ca: str) -> None:
    """Whether the other side says goodbye (section 6.1) or not."""

    async def talk(line: Line) -> None:
        await line.head()
        await line.say(f"HTTP/1.1 200 OK\nContent-Length: {SIZE}\n\n", bytes(SIZE // 2))
        if line.number % 2:
            await asyncio.sleep(0.05)
            line.writer.transport.abort()

    async with talking(talk, tls) as server:
        for _ in range(4):
            with pytest.raises(BrokenOff):
                await collected(client, Request("GET", server.target(ca=ca)))


async def test_a_source_that_fails(client: HttpClient, tls: ssl.SSLContext, ca: str) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.rest()

    async with talking(talk, tls) as server:
        upload = pieces(bytes(SIZE), b"x", size=SIZE + 1, fault=MayBeDone("Mine"))
        with pytest.raises(MayBeDone, match="Mine"):
            await collected(client, Request("PUT", server.target(ca=ca), body=upload, changes=True))
        async with asyncio.timeout(5):
            await server.ended.wait()
        assert len(server.lines[0].body) <= SIZE


async def test_a_certificate_that_is_not_to_be_trusted(client: HttpClient, tls: ssl.SSLContext) -> None:
    async def talk(line: Line) -> None:
        await line.head()

    async with talking(talk, tls) as server:
        with pytest.raises(Untrusted):
            await collected(client, Request("PUT", server.target(), body=pieces(b"x", size=1), changes=True))
