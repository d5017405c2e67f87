"""Redirects of an exchange about files: what stays, what may leave the origin (RFC 9110 section 15.4)."""

import pytest

from adapters.errors import (
    NotAllowed,
    NotPossible,
    WrongDocument,
)
from adapters.files import Upload
from adapters.http.client import HttpClient, Request
from adapters.port import CredentialKind, Credentials, Reach
from tests.adapters.http.servers import LOOPBACK
from tests.adapters.http.talks import Line, collected, field_of, pieces, talking

REDIRECTS = ["301 Moved Permanently", "302 Found", "307 Temporary Redirect", "308 Permanent Redirect"]


@pytest.mark.parametrize("status", REDIRECTS)
async def test_method_headers_and_body_stay(client: HttpClient, status: str) -> None:
    async def talk(line: Line) -> None:
        head = await line.head()
        await line.take(int(field_of(head, "content-length") or 0))
        if "/new/" in head:
            await line.say("HTTP/1.1 207 Multi-Status\nContent-Length: 0\n\n")
        else:
            await line.say(f"HTTP/1.1 {status}\nLocation: /new/a/\nContent-Length: 0\n\n")

    for body in (b"<x/>", pieces(b"<x", b"/>", size=4)):
        for changes in (False, True):
            async with talking(talk) as server:
                request = Request(
                    "PROPFIND", server.target("/old/a"), (("Depth", "1"),), body, changes=changes
                )
                answer, _ = await collected(client, request)
                assert answer.status == 207
                assert answer.url.endswith("/new/a/")
                assert server.request_lines() == ["PROPFIND /old/a HTTP/1.1", "PROPFIND /new/a/ HTTP/1.1"]
                assert [field_of(head, "depth") for head in server.heads()] == ["1", "1"]
                assert b"".join(line.body for line in server.lines) == b"<x/><x/>"


async def test_a_body_that_cannot_be_sent_twice(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        await line.head()
        await line.take(4)
        await line.say("HTTP/1.1 307 Temporary Redirect\nLocation: /new\nContent-Length: 0\n\n")

    async with talking(talk) as server:
        upload = Upload(pieces(b"body").chunks, 4, repeatable=False)
        with pytest.raises(NotPossible):
            await collected(client, Request("PUT", server.target(), body=upload, changes=True))


async def test_a_get_may_leave_the_origin_with_its_range_and_nothing_private(client: HttpClient) -> None:
    """RFC 9110 section 15.4; the range says nothing of who asks."""

    async def mirror(line: Line) -> None:
        await line.head()
        await line.say("HTTP/1.1 206 Partial Content\nContent-Range: bytes 1-2/4\nContent-Length: 2\n\nbc")

    async with talking(mirror) as far:

        async def talk(line: Line) -> None:
            await line.head()
            place = f"http://{LOOPBACK}:{far.port}/mirror"
            await line.say(f"HTTP/1.1 302 Found\nLocation: {place}\nContent-Length: 0\n\n")

        async with talking(talk) as server:
            target = server.target(
                credentials=Credentials(CredentialKind.BASIC, "reader", "hush-hush"),
                reach=Reach(named=frozenset({(LOOPBACK, server.port)}), allow=(LOOPBACK,)),
            )
            headers = (("Range", "bytes=1-2"), ("X-Own", "1"))
            assert (await collected(client, Request("GET", target, headers)))[1] == b"bc"
            assert field_of(server.heads()[0], "authorization") is not None
            head = far.heads()[0]
            assert field_of(head, "range") == "bytes=1-2"
            assert field_of(head, "authorization") is None
            assert field_of(head, "x-own") is None
            with pytest.raises(NotAllowed):
                await collected(client, Request("PROPFIND", target))
            with pytest.raises(NotAllowed):
                await collected(client, Request("DELETE", server.target("/mirror"), changes=True))
            assert len(far.heads()) == 1


async def test_round_in_circles(client: HttpClient) -> None:
    async def talk(line: Line) -> None:
        while True:
            await line.head()
            await line.say("HTTP/1.1 302 Found\nLocation: /document\nContent-Length: 0\n\n")

    async with talking(talk) as server:
        with pytest.raises(WrongDocument):
            await collected(client, Request("GET", server.target()))
