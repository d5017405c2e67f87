"""What is there, without reading it (RFC 9110 section 9.3.2), and where a server has no HEAD."""

from datetime import UTC, datetime

import pytest

from adapters.errors import CredentialsRefused, NotPossible, NotThere
from adapters.files import Kind
from adapters.http.client import HttpClient
from adapters.http.documents.looking import kind_by_slash, look
from adapters.port import Validators
from tests.adapters.http.documents.sites import BODY, Asked, Give, Site, part
from tests.adapters.http.talks import SECONDS, talking

NOW = datetime(2026, 11, 6, tzinfo=UTC)


async def test_by_head(client: HttpClient) -> None:
    """The fields of RFC 9110's examples in sections 8.8.2 and 8.8.3."""
    fields = (
        "Last-Modified: Tue, 15 Nov 1994 12:45:26 GMT",
        'ETag: "xyzzy"',
        "Content-Type: text/html; charset=ISO-8859-4",
    )
    made = Site(lambda _: Give(body=BODY, fields=fields))
    async with talking(made.talk) as server:
        stat = (await look(client, server.target(), SECONDS, NOW)).stat
    assert (stat.kind, stat.size) == (Kind.FILE, len(BODY))
    assert stat.modified == datetime(1994, 11, 15, 12, 45, 26, tzinfo=UTC)
    assert stat.validators == Validators('"xyzzy"', "Tue, 15 Nov 1994 12:45:26 GMT")
    assert (stat.media_type, stat.charset) == ("text/html", "ISO-8859-4")
    assert stat.origin == f"http://127.0.0.1:{server.port}"
    assert [each.method for each in made.asked] == ["HEAD"]


@pytest.mark.parametrize("status", ["405 Method Not Allowed", "501 Not Implemented"])
@pytest.mark.parametrize(("body", "ranges"), [(BODY, True), (BODY, False), (b"", True)])
async def test_without_head(client: HttpClient, status: str, body: bytes, ranges: bool) -> None:
    def give(asked: Asked) -> Give:
        if asked.method == "HEAD":
            return Give(status)
        return part(asked, body) if ranges else Give(body=body)

    made = Site(give)
    async with talking(made.talk) as server:
        stat = (await look(client, server.target(), SECONDS, NOW)).stat
    assert stat.size == len(body)
    assert [each.method for each in made.asked] == ["HEAD", "GET"]
    assert made.asked[1].range == "bytes=0-0"


async def test_without_head_and_without_end(client: HttpClient) -> None:
    """A long document is left at once."""
    made = Site(lambda asked: Give("405 No", b"") if asked.method == "HEAD" else Give(length=1 << 40))
    async with talking(made.talk) as server:
        assert (await look(client, server.target(), SECONDS, NOW)).stat.size == 1 << 40


@pytest.mark.parametrize(
    "fields", [("Transfer-Encoding: chunked",), ("Content-Encoding: gzip",), ("Content-Encoding: x-gzip",)]
)
async def test_a_size_that_is_not_the_documents(client: HttpClient, fields: tuple[str, ...]) -> None:
    """Of what would be decoded the size is not known, nor where none is told."""
    made = Site(lambda _: Give(body=BODY, fields=fields))
    async with talking(made.talk) as server:
        assert (await look(client, server.target(), SECONDS, NOW)).stat.size is None


@pytest.mark.parametrize("given", ["", "yesterday", "Tue, 31 Feb 1994 12:45:26 GMT"])
async def test_a_date_that_is_none(client: HttpClient, given: str) -> None:
    made = Site(lambda _: Give(fields=(f"Last-Modified: {given}",)))
    async with talking(made.talk) as server:
        assert (await look(client, server.target(), SECONDS, NOW)).stat.modified is None


async def test_faults(client: HttpClient) -> None:
    for status, kind in (
        ("404 Not Found", NotThere),
        ("401 Unauthorized", CredentialsRefused),
        ("405 No", NotPossible),
    ):
        made = Site(lambda _, status=status: Give(status))  # type: ignore[misc]
        async with talking(made.talk) as server:
            with pytest.raises(kind):
                await look(client, server.target(), SECONDS, NOW)


async def test_a_folder_is_what_ends_in_a_slash_where_a_place_has_indexes(client: HttpClient) -> None:
    def give(asked: Asked) -> Give:
        if asked.path.endswith("/"):
            return Give(body=BODY)
        return Give("301 Moved Permanently", fields=(f"Location: {asked.path}/",))

    made = Site(give)
    async with talking(made.talk) as server:
        found = await look(client, server.target("/sub", index="html"), SECONDS, NOW)
        assert (found.stat.kind, found.stat.size) == (Kind.FOLDER, None)
        assert found.leads_to_folder(server.target("/sub"))
        found = await look(client, server.target("/sub/"), SECONDS, NOW)
        assert (found.stat.kind, found.stat.size) == (Kind.FILE, len(BODY))
        assert not found.leads_to_folder(server.target("/sub/"))


@pytest.mark.parametrize(
    ("path", "given", "kind"),
    [
        ("/a", {"/a": "200 OK"}, Kind.FILE),
        ("/a/", {"/a": "200 OK", "/a/": "200 OK"}, Kind.FILE),  # a server that ignores the slash
        ("/a", {"/a": "301 Moved", "/a/": "200 OK"}, Kind.FOLDER),
        ("/a", {"/a": "301 Moved", "/a/": "403 Forbidden"}, Kind.FOLDER),  # no index page is made of it
        ("/a", {"/a": "301 Moved"}, None),  # every path is given a slash
        ("/a", {"/a/": "200 OK"}, Kind.FOLDER),
        ("/a/", {"/a/": "200 OK"}, Kind.FOLDER),
        ("/a", {}, None),
        ("/a", {"/a": "403 Forbidden", "/a/": "403 Forbidden"}, None),  # whatever is asked for
        ("/a", {"/a": "405 No", "/a/": "405 No"}, None),
        ("/a", {"/a": "401 Unauthorized", "/a/": "200 OK"}, None),
        ("/a?b", {"/a": "200 OK"}, None),
    ],
)
async def test_a_kind_by_its_slash(
    client: HttpClient, path: str, given: dict[str, str], kind: Kind | None
) -> None:
    """Redirects to the name with a slash are common practice; RFC 3986 knows of no such relation."""

    def give(asked: Asked) -> Give:
        status = given.get(asked.path, "404 Not Found")
        return Give(status, fields=(f"Location: {asked.path}/",) if status.startswith("301") else ())

    made = Site(give)
    async with talking(made.talk) as server:
        assert await kind_by_slash(client, server.target(path), SECONDS) is kind
    assert {each.method for each in made.asked} <= {"HEAD"}
