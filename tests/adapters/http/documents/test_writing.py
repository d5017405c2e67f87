"""PUT and DELETE: conditions, doubts, and looks before and after (RFC 9110 sections 9.3.4, 9.3.5, 13.1)."""

import asyncio
from collections.abc import AsyncIterator, Callable
from datetime import UTC, datetime

import pytest

from adapters.errors import (
    BrokenOff,
    ChangedMeanwhile,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    TooLarge,
    TooSlow,
    WrongDocument,
)
from adapters.files import Condition, Kind, Stat, Upload, Was, Written
from adapters.http.client import HttpClient
from adapters.http.documents.writing import Put, delete, put
from adapters.port import Validators
from tests.adapters.http.documents.sites import Asked, Give, Site
from tests.adapters.http.talks import SECONDS, TalkServer, field_of, pieces, talking

NOW = datetime(2026, 11, 6, tzinfo=UTC)
MODIFIED = "Tue, 15 Nov 1994 12:45:26 GMT"
BODY = b"new words"


def now() -> datetime:
    return NOW


def answering(status: str = "201 Created", head: Give | None = None) -> Callable[[Asked], Give]:
    """What HEAD and what everything else gets."""
    return lambda asked: (head or Give("404 Not Found")) if asked.method == "HEAD" else Give(status)


async def write(
    client: HttpClient,
    server: TalkServer,
    condition: Condition = Was.ANYTHING,
    upload: Upload | None = None,
    seconds: float = SECONDS,
) -> Written:
    change = Put(server.target(), upload or pieces(BODY, size=len(BODY)), condition)
    return await put(client, change, seconds, now)


async def test_a_document_is_put_and_its_size_looked_at(client: HttpClient) -> None:
    made = Site(answering(head=Give(body=BODY)))
    async with talking(made.talk) as server:
        written = await write(client, server)
        assert (written.size, written.checked) == (len(BODY), "size")
        assert [each.method for each in made.asked] == ["PUT", "HEAD"]
        assert server.lines[0].body == BODY


@pytest.mark.parametrize(
    "head",
    [Give("503 Busy"), Give("405 No"), Give(fields=("Content-Encoding: gzip",))],
    ids=["busy", "no", "gzip"],
)
async def test_where_it_cannot_be_looked_at_the_word_of_the_server_counts(
    client: HttpClient, head: Give
) -> None:
    made = Site(lambda asked: Give("201 Created") if asked.method == "PUT" else head)
    async with talking(made.talk) as server:
        written = await write(client, server)
        assert (written.size, written.checked) == (len(BODY), "")


async def test_another_size_afterwards_is_doubt(client: HttpClient) -> None:
    made = Site(answering(head=Give(body=BODY[:-1])))
    async with talking(made.talk) as server:
        with pytest.raises(MayBeDone):
            await write(client, server)


CONDITIONS = {
    "strong tag": (Validators('"v1"', MODIFIED), ("if-match", '"v1"')),
    "date": (Validators(None, MODIFIED), ("if-unmodified-since", MODIFIED)),
    "weak tag": (Validators('W/"v1"', MODIFIED), None),
    "nothing": (Validators(), None),
}


@pytest.mark.parametrize("name", CONDITIONS)
async def test_a_document_that_was_looked_at(client: HttpClient, name: str) -> None:
    """RFC 9110 sections 13.1.1 (strong comparison only) and 13.1.4 (dates only without a tag)."""
    validators, sent = CONDITIONS[name]
    fields = tuple(
        f"{key}: {value}"
        for key, value in (("ETag", validators.etag), ("Last-Modified", validators.last_modified))
        if value
    )
    made = Site(answering("204 No Content", Give(body=BODY, fields=fields)))
    async with talking(made.talk) as server:
        seen = Stat(Kind.FILE, len(BODY), validators=validators)
        await write(client, server, seen)
        assert [each.method for each in made.asked] == ["HEAD", "PUT", "HEAD"]
        head = made.asked[1].head
        names = ("if-match", "if-unmodified-since", "if-none-match")
        assert {(key, field_of(head, key)) for key in names if field_of(head, key)} == (
            {sent} if sent else set()
        )


@pytest.mark.parametrize(
    "head",
    [
        Give("404 Not Found"),
        Give(body=BODY, fields=('ETag: "v2"',)),
        Give(body=BODY + b"!", fields=()),
        Give(body=BODY, fields=("Last-Modified: Tue, 15 Nov 1994 12:45:27 GMT",)),
    ],
    ids=["gone", "another tag", "another size", "another time"],
)
async def test_another_one_is_not_written_over(client: HttpClient, head: Give) -> None:
    """Looked at beforehand: many servers ignore conditions on PUT."""
    made = Site(answering(head=head))
    async with talking(made.talk) as server:
        modified = datetime(1994, 11, 15, 12, 45, 26, tzinfo=UTC)
        with pytest.raises(ChangedMeanwhile):
            await write(client, server, Stat(Kind.FILE, len(BODY), modified, Validators('"v1"')))
        assert "PUT" not in {each.method for each in made.asked}


async def test_only_where_nothing_is(client: HttpClient) -> None:
    """RFC 9110 section 13.1.2."""
    made = Site(answering())
    async with talking(made.talk) as server:
        await write(client, server, Was.NOTHING)
        assert field_of(made.asked[1].head, "if-none-match") == "*"
    made = Site(answering(head=Give(body=b"x")))
    async with talking(made.talk) as server:
        with pytest.raises(ChangedMeanwhile):
            await write(client, server, Was.NOTHING)
        assert [each.method for each in made.asked] == ["HEAD"]


OUTCOMES: dict[str, type[HeadraceError]] = {
    "412 Precondition Failed": ChangedMeanwhile,
    "413 Content Too Large": TooLarge,
    "405 Method Not Allowed": NotPossible,
    "401 Unauthorized": CredentialsRefused,
    "503 Service Unavailable": FarBusy,
    "202 Accepted": MayBeDone,
    "207 Multi-Status": MayBeDone,
}


@pytest.mark.parametrize("status", OUTCOMES)
async def test_what_the_server_says(client: HttpClient, status: str) -> None:
    made = Site(answering(status, Give(body=b"x")))
    async with talking(made.talk) as server:
        with pytest.raises(HeadraceError) as caught:
            await write(client, server)
        assert type(caught.value) is OUTCOMES[status]
        assert [each.method for each in made.asked].count("PUT") == 1


@pytest.mark.parametrize("head", ["403 Forbidden", "500 Internal Server Error"])
async def test_a_folder_that_nobody_may_look_at_is_not_called_missing(client: HttpClient, head: str) -> None:
    async with talking(Site(answering("403 Forbidden", Give(head))).talk) as server:
        with pytest.raises(NotAllowed):
            await write(client, server)


@pytest.mark.parametrize("status", ["409 Conflict", "500 Internal Server Error"])
async def test_without_a_folder_nothing_can_have_been_done(client: HttpClient, status: str) -> None:
    """409 is WebDAV's word for it (RFC 4918 section 9.7.1); nginx says 500."""
    made = Site(answering(status))
    async with talking(made.talk) as server:
        with pytest.raises(NotThere):
            await write(client, server)
        assert made.asked[-1].path == "/"
    made = Site(answering(status, Give(body=b"x")))
    async with talking(made.talk) as server:
        with pytest.raises(ChangedMeanwhile if status.startswith("409") else MayBeDone):
            await write(client, server)


async def test_a_source_that_fails_at_once_has_sent_nothing(client: HttpClient) -> None:
    fault = NotThere()
    made = Site(answering())
    async with talking(made.talk) as server:
        with pytest.raises(NotThere) as caught:
            await write(client, server, upload=pieces(fault=fault))
        assert caught.value is fault
        assert server.lines == []


async def test_a_source_that_fails_later_may_have_left_half(client: HttpClient) -> None:
    made = Site(answering())
    async with talking(made.talk) as server:
        with pytest.raises(MayBeDone) as caught:
            await write(client, server, upload=pieces(b"a", b"b", size=9, fault=NotThere()))
        assert isinstance(caught.value.__cause__, NotThere)


@pytest.mark.parametrize("said", [0, 1, 99])
async def test_a_source_of_another_size_than_it_said(client: HttpClient, said: int) -> None:
    """With nothing sent it is told as it is; else the server has got a header section, and half a body."""
    made = Site(answering())
    async with talking(made.talk) as server:
        with pytest.raises(HeadraceError) as caught:
            await write(client, server, upload=pieces(b"ab", b"c", size=said))
        assert type(caught.value) is (MayBeDone if said else BrokenOff)
        assert len(server.lines) == (1 if said else 0)


async def test_a_source_that_never_begins(client: HttpClient) -> None:
    async def chunks() -> AsyncIterator[bytes]:
        await asyncio.Event().wait()
        yield b""

    made = Site(answering())
    async with talking(made.talk) as server:
        with pytest.raises(TooSlow):
            await write(client, server, upload=Upload(chunks), seconds=0.2)
        assert server.lines == []


async def test_moved_it_is_put_there_with_all_its_bytes(client: HttpClient) -> None:
    def give(asked: Asked) -> Give:
        if asked.path == "/document":
            return Give("307 Temporary Redirect", fields=("Location: /moved/document",))
        return Give("201 Created") if asked.method == "PUT" else Give(body=BODY)

    made = Site(give)
    async with talking(made.talk) as server:
        written = await write(client, server)
        assert (written.size, written.checked) == (len(BODY), "size")
        assert b"".join(line.body for line in server.lines) == BODY + BODY


async def test_a_document_is_deleted(client: HttpClient) -> None:
    made = Site(answering("204 No Content", Give(body=b"x")))
    async with talking(made.talk) as server:
        await delete(client, server.target(), SECONDS, now)
        assert [each.method for each in made.asked] == ["HEAD", "DELETE"]


async def test_nothing_to_delete(client: HttpClient) -> None:
    made = Site(answering())
    async with talking(made.talk) as server:
        with pytest.raises(NotThere):
            await delete(client, server.target(), SECONDS, now)
        assert [each.method for each in made.asked] == ["HEAD"]


async def test_folders_are_never_deleted(client: HttpClient) -> None:
    """Apache's mod_dav and nginx take DELETE of a folder for all that is in it."""

    def give(asked: Asked) -> Give:
        if asked.path.endswith("/"):
            return Give(body=b"index")
        return Give("301 Moved Permanently", fields=(f"Location: {asked.path}/",))

    made = Site(give)
    async with talking(made.talk) as server:
        for path in ("/folder", "/folder/"):
            with pytest.raises(NotPossible):
                await delete(client, server.target(path), SECONDS, now)
        with pytest.raises(WrongDocument):
            await put(client, Put(server.target("/folder/"), pieces(b"x"), Was.ANYTHING), SECONDS, now)
        assert {each.method for each in made.asked} == {"HEAD"}


@pytest.mark.parametrize(
    ("status", "kind"), [("202 Accepted", MayBeDone), ("500 No", MayBeDone), ("403 No", None)]
)
async def test_a_delete_in_doubt(client: HttpClient, status: str, kind: type[HeadraceError] | None) -> None:
    made = Site(answering(status, Give(body=b"x")))
    async with talking(made.talk) as server:
        with pytest.raises(HeadraceError) as caught:
            await delete(client, server.target(), SECONDS, now)
        assert (type(caught.value) is MayBeDone) == (kind is MayBeDone)
