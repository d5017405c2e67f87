"""What was recorded is played; what was not is asked for and recorded, where a server answers."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from adapters.errors import HeadraceError, NotRecorded, WrongDocument
from adapters.http.adapter import HttpAdapter
from adapters.port import Fetched
from adapters.recorded.answers import AnswersOnly
from adapters.recorded.http.adding import AddingLink
from adapters.recorded.http.recording import RecordingLink
from tests.adapters.http.servers import Say, raw_server, reply
from tests.adapters.recorded.exchanges import NOON
from tests.adapters.recorded.http.test_playing import SECONDS, folder, played, recorded, result


@asynccontextmanager
async def adding(site: Path) -> AsyncIterator[HttpAdapter]:
    recordings = folder(site)
    link = AddingLink(recordings, lambda: NOON, RecordingLink(AnswersOnly(recordings)))
    adapter = HttpAdapter(link=link)
    try:
        yield adapter
    finally:
        await adapter.aclose()


async def test_what_is_missing_is_asked_for_once(tmp_path: Path) -> None:
    async with raw_server(reply(b"old")) as server:
        known, missing = server.call("/known"), server.call("/missing")
        await recorded(tmp_path, [known])
        server.answers = [reply(b"new")]
        async with adding(tmp_path) as adapter:
            results = [await result(adapter, call) for call in (known, missing, missing)]
        assert server.heads() == ["GET /known HTTP/1.1", "GET /missing HTTP/1.1"]
    assert [each.body for each in results if isinstance(each, Fetched)] == [b"old", b"new", b"new"]
    assert await played(tmp_path, [known, missing]) == results[:2]


async def test_an_error_that_is_an_answer_is_added_too(tmp_path: Path) -> None:
    async with raw_server(reply(b"", "404 Not Found")) as server:
        call = server.call()
        async with adding(tmp_path) as adapter:
            live = await result(adapter, call)
    assert live[0].code == 550  # type: ignore[index]
    assert await played(tmp_path, [call]) == [live]


async def test_without_a_server_it_is_as_offline_and_nothing_is_kept(tmp_path: Path) -> None:
    async with raw_server(reply(b"x")) as server:
        await recorded(tmp_path, [server.call("/known")])
        missing = server.call("/missing")
    async with adding(tmp_path) as adapter:
        with pytest.raises(NotRecorded) as caught:
            await adapter.fetch(missing, SECONDS)
    assert dict(caught.value.notes)["DIFFERS"].startswith("the path")
    assert len(list(folder(tmp_path).exchanges())) == 1


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
async def test_a_change_goes_nowhere(method: str, tmp_path: Path) -> None:
    async with raw_server(reply(b"done")) as server:
        async with adding(tmp_path) as adapter:
            with pytest.raises(NotRecorded):
                await adapter.fetch(server.call(method=method, body=b"x", changes=True), SECONDS)
        assert server.requests == []


async def test_what_its_reader_does_is_no_want_of_a_network(tmp_path: Path) -> None:
    async with raw_server(reply(b"x" * 5000)) as server, adding(tmp_path) as adapter:
        with pytest.raises(HeadraceError) as caught:
            await adapter.fetch(server.call(body_limit=4999), SECONDS)
    assert caught.value.code == 552


async def test_a_server_that_answers_nonsense_was_reached(tmp_path: Path) -> None:
    async with raw_server(Say(b"220 Hello\r\n\r\n")) as server, adding(tmp_path) as adapter:
        with pytest.raises(WrongDocument):
            await adapter.fetch(server.call(), SECONDS)
    assert len(list(folder(tmp_path).exchanges())) == 1
