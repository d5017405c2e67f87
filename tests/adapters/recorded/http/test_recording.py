"""What is kept of a live exchange, and what is not."""

import asyncio
import gzip
from collections.abc import AsyncIterable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpcore
import pytest

from adapters import limits
from adapters.addresses import guard_for
from adapters.errors import HeadraceError, NotAllowed, TooLarge
from adapters.files import Target, Upload, Was
from adapters.http.adapter import HttpAdapter
from adapters.http.link.exchange import Exchange as Going
from adapters.port import Call, Reach
from adapters.recorded import copies
from adapters.recorded.asking import LATE, REQUEST
from adapters.recorded.exchange import Content, Exchange, Failure, Message
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.recorded.http.recording import RecordingLink, _ReadBody
from adapters.redaction import Redactor
from tests.adapters.http.servers import LOOPBACK, RawServer, Say, free_port, raw_server, reply
from tests.adapters.recorded.http.test_playing import played, result
from tests.adapters.recorded.test_copies import full

SECONDS = 10.0


def folder(path: Path) -> Folder:
    made = Folder(path, Hiding(Redactor()), lambda: datetime.now(UTC))
    made.load()
    return made


def kept(path: Path) -> list[Exchange]:
    return list(folder(path).exchanges())


async def fetch(path: Path, *calls: Call) -> None:
    adapter = HttpAdapter(link=RecordingLink(folder(path)))
    for call in calls:
        try:
            await adapter.fetch(call, SECONDS)
        except HeadraceError:
            continue
    await adapter.aclose()


def target(server: RawServer, path: str) -> Target:
    call = server.call(path)
    return Target(call.url, server.call("/").url, reach=call.reach)


async def test_each_hop_by_itself_and_for_whom(tmp_path: Path) -> None:
    token = REQUEST.set("ASK TIDES MOLE")
    async with raw_server(reply(b"", "302 Found", "Location: /b"), reply(b"there")) as server:
        await fetch(tmp_path, server.call("/a"))
        port = server.port
    REQUEST.reset(token)
    first, second = kept(tmp_path)
    assert (first.asked.url, second.asked.url) == (
        f"http://{LOOPBACK}:{port}/a",
        f"http://{LOOPBACK}:{port}/b",
    )
    assert first.asked.request == second.asked.request == "ASK TIDES MOLE"
    assert isinstance(first.reply, Message)
    assert first.reply.headers == (("Location", "/b"),)
    assert isinstance(second.reply, Message)
    assert second.reply.content == Content(b"there")


async def test_gzip_is_kept_expanded(tmp_path: Path) -> None:
    body = gzip.compress(b"readable " * 50, mtime=0)
    async with raw_server(reply(body, "200 OK", "Content-Encoding: gzip", "X-Kept: yes")) as server:
        await fetch(tmp_path, server.call())
    message = kept(tmp_path)[0].reply
    assert isinstance(message, Message)
    assert (message.squeezed, message.length, message.headers) == (True, None, (("X-Kept", "yes"),))
    assert message.content == Content(b"readable " * 50)


async def test_a_body_cut_short_is_kept_with_what_cut_it(tmp_path: Path) -> None:
    async with raw_server(Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "close")) as server:
        await fetch(tmp_path, server.call())
    message = kept(tmp_path)[0].reply
    assert isinstance(message, Message)
    assert (message.content, message.length) == (Content(b"abc"), 9)
    assert message.failure is not None
    assert message.failure.name == "BrokenOff"


async def test_a_failure_before_an_answer(tmp_path: Path) -> None:
    async with raw_server(Say(b"", "close")) as server:
        await fetch(tmp_path, server.call(method="POST", body=b"x", changes=True))
    exchange = kept(tmp_path)[0]
    assert exchange.asked.body == Content(b"x")
    assert isinstance(exchange.reply, Failure)
    assert exchange.reply.sent


async def test_a_rule_of_the_gateways_own_is_no_answer(tmp_path: Path) -> None:
    adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
    with pytest.raises(NotAllowed):
        await adapter.fetch(Call("http://127.0.0.1:9/"), SECONDS)  # refused before anything is sent
    await adapter.aclose()
    assert kept(tmp_path) == []


async def test_what_the_client_gives_up_is_not_kept(tmp_path: Path) -> None:
    async with raw_server(Say(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", "stall")) as server:
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        task = asyncio.create_task(adapter.fetch(server.call(), SECONDS))
        await asyncio.sleep(0.2)
        assert len(server.requests) == 1
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        await adapter.aclose()
    assert kept(tmp_path) == []


async def test_a_streamed_upload_is_kept_whole(tmp_path: Path) -> None:
    data = bytes(range(256)) * 2000

    def chunks() -> "Chunks":
        return Chunks(data)

    async with raw_server(reply(b"", "201 Created", f"X-Size: {len(data)}")) as server:
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        where = target(server, "/up.bin")
        with suppress(HeadraceError):  # the server forgets it, and is found out afterwards
            await adapter.write(where, Upload(chunks, len(data)), Was.ANYTHING, SECONDS)
        await adapter.aclose()
    put = next(each for each in kept(tmp_path) if each.asked.method == "PUT")
    assert put.asked.body == Content(data)


class Chunks:
    """Bytes in pieces of 7,000."""

    def __init__(self, data: bytes) -> None:
        self._data = data

    def __aiter__(self) -> "Chunks":
        return self

    async def __anext__(self) -> bytes:
        if not self._data:
            raise StopAsyncIteration
        piece, self._data = self._data[:7000], self._data[7000:]
        return piece


async def test_what_was_left_unread_is_told(tmp_path: Path) -> None:
    async with raw_server(reply(bytes(3_000_000), "200 OK")) as server:
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        async with adapter.read(target(server, "/d.bin"), 0, None, SECONDS) as reading:
            async for _ in reading.chunks:
                break
        await adapter.aclose()
    message = kept(tmp_path)[0].reply
    assert isinstance(message, Message)
    assert (message.length, message.failure) == (3_000_000, None)
    assert message.content is not None
    assert 0 < message.content.size < 3_000_000


async def test_what_nobody_took_was_asked_for_whole(tmp_path: Path) -> None:
    port = await free_port()
    call = Call(
        f"http://{LOOPBACK}:{port}/",
        method="POST",
        body=b"a=1",
        changes=True,
        reach=Reach(frozenset({(LOOPBACK, port)})),
    )
    await fetch(tmp_path, call)
    (exchange,) = kept(tmp_path)
    assert exchange.asked.body == Content(b"a=1")
    assert isinstance(exchange.reply, Failure)
    assert exchange.reply.name == "CannotConnect"


@pytest.mark.parametrize("repeatable", [True, False])
async def test_what_was_refused_before_its_end_was_asked_for_whole(repeatable: bool, tmp_path: Path) -> None:
    """A final answer may come at any time (RFC 9110 section 10.1.1, RFC 9112 section 9.3)."""
    data = bytes(range(256)) * 40_000

    async with raw_server(reply(b"", "404 Not Found")) as server:
        server.paths["/up.bin"] = replace(reply(b"", "413 Too Large", then="stall"), early=True)
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        upload = Upload(lambda: Chunks(data), len(data), repeatable)
        with pytest.raises(TooLarge):
            await adapter.write(target(server, "/up.bin"), upload, Was.ANYTHING, SECONDS)
        await adapter.aclose()
    (put,) = [each for each in kept(tmp_path) if each.asked.method == "PUT"]
    assert put.asked.body is not None
    assert (put.asked.body == Content(data)) == repeatable


async def test_a_large_document_is_kept_to_its_end(tmp_path: Path) -> None:
    """Which is otherwise read past httpcore."""
    data = bytes(range(256)) * 8_200
    async with raw_server(reply(data)) as server:
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        async with adapter.read(target(server, "/d.bin"), 0, None, SECONDS) as reading:
            assert b"".join([chunk async for chunk in reading.chunks]) == data
        await adapter.aclose()
    message = kept(tmp_path)[0].reply
    assert isinstance(message, Message)
    assert (message.content, message.length, message.failure) == (Content(data), None, None)


@pytest.mark.parametrize(
    ("how", "code"), [({}, 420), ({"method": "POST", "body": b"x", "changes": True}, 558)]
)
async def test_no_answer_in_time_is_kept_and_a_client_that_gives_up_is_not(
    how: dict[str, Any], code: int, tmp_path: Path
) -> None:
    async with raw_server(Say(b"", "stall")) as server:
        call = server.call(**how)
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        task = asyncio.create_task(adapter.fetch(call, SECONDS))
        while not server.requests:  # noqa: ASYNC110 - nothing tells
            await asyncio.sleep(0.01)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert list(folder(tmp_path).exchanges()) == []
        live = await result(adapter, call, 0.2)
        await adapter.aclose()
    assert live[0].code == code  # type: ignore[index]
    assert await played(tmp_path, [call]) == [live]


async def answered(
    path: Path, server: RawServer, why: BaseException | None = None, *, pieces: int = 99
) -> None:
    """One answer, of which so many pieces are read before its reader leaves, or is told to."""
    call = server.call()
    link = RecordingLink(folder(path))
    guard = guard_for(call.reach, LOOPBACK, server.port)
    request = httpcore.Request("GET", call.url, headers={"Host": f"{LOOPBACK}:{server.port}"})
    with suppress(asyncio.CancelledError):
        async with link.answer(request, Going(), guard, None, alone=True) as response:
            assert isinstance(response.stream, AsyncIterable)
            read = aiter(response.stream)
            for _ in range(pieces):
                if await anext(read, None) is None:
                    break
            if why is not None:
                raise why
    await link.aclose()


async def test_who_is_cancelled_with_all_of_it_in_hand_had_it(tmp_path: Path) -> None:
    async with raw_server(reply(b"there")) as server:
        await answered(tmp_path, server, asyncio.CancelledError())
    message = kept(tmp_path)[0].reply
    assert isinstance(message, Message)
    assert message.content == Content(b"there")


async def test_an_unfinished_body_of_unknown_length_is_not_kept(tmp_path: Path) -> None:
    """RFC 9112 section 7.1: nobody knows how many chunks would follow."""
    head = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n"
    async with raw_server(Say(head + b"4\r\nhalf\r\n", "stall")) as server:
        await answered(tmp_path, server, pieces=1)
    assert kept(tmp_path) == []


async def test_a_gzip_body_that_goes_wrong_is_kept_to_there_and_read_to_its_end(tmp_path: Path) -> None:
    spoiled = gzip.compress(b"", mtime=0)[:10] + b"\xff" * 300_000  # no block is of type 3 (RFC 1951)
    async with raw_server(reply(spoiled, "200 OK", "Content-Encoding: gzip")) as server:
        await answered(tmp_path, server)
    message = kept(tmp_path)[0].reply
    assert isinstance(message, Message)
    assert message.failure is not None
    assert message.content is not None
    assert message.content.size < 1000


async def test_time_that_is_up_for_another_reason_is_kept_as_an_answer_that_did_not_come(
    tmp_path: Path,
) -> None:
    """The gateway cancels a fetch with LATE when it answers its client that the far server took too long."""
    async with raw_server(Say(b"", "stall")) as server:
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        task = asyncio.create_task(adapter.fetch(server.call(), SECONDS))
        while not server.requests:  # noqa: ASYNC110 - nothing tells
            await asyncio.sleep(0.01)
        task.cancel(LATE)
        with pytest.raises(asyncio.CancelledError):
            await task
        await adapter.aclose()
    failure = kept(tmp_path)[0].reply
    assert isinstance(failure, Failure)
    assert failure.name == "TooSlow"


@pytest.mark.parametrize("name", ["too large to be held", "no room for it"])
async def test_a_request_that_cannot_be_kept_whole_is_not_kept(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In memory only until it is answered; and on a disk that is full."""
    answer = Say(b"", "stall") if name == "too large to be held" else reply(b"done")
    if name == "no room for it":
        monkeypatch.setattr(copies, "NamedTemporaryFile", full)
    async with raw_server(answer) as server:
        adapter = HttpAdapter(link=RecordingLink(folder(tmp_path)))
        call = server.call(method="POST", body=bytes(limits.STAGE_BYTES + 1), changes=True)
        await result(adapter, call, 0.5)
        await adapter.aclose()
    assert kept(tmp_path) == []


async def test_a_body_that_has_nothing_to_close(tmp_path: Path) -> None:
    body = _ReadBody(b"GET", httpcore.Response(200, content=b"there"), Going(), folder(tmp_path).draft())
    assert b"".join([chunk async for chunk in body]) == b"there"
    await body.aclose()
    message = body.message()
    assert message is not None
    assert message.content == Content(b"there")
