"""A folder by its index page: which pages are taken, and how much of them."""

from contextlib import nullcontext

import pytest

from adapters import limits
from adapters.errors import BrokenOff, GatewayFull, HeadraceError, NotThere, WrongDocument
from adapters.files import Kind
from adapters.http.client import HttpClient
from adapters.http.documents.listing import list_index
from adapters.in_hand import holding
from tests.adapters.http.documents.sites import Asked, Give, Site
from tests.adapters.http.talks import SECONDS, talking
from tests.adapters.test_in_hand import Turns

PAGE = b'<title>Index of /</title><pre><a href="../">../</a>\n<a href="a">a</a>\n<a href="b/">b/</a>\n</pre>'
HTML = "Content-Type: text/html; charset=utf-8"


async def test_a_folder_is_asked_for_with_its_slash(client: HttpClient) -> None:
    made = Site(lambda _: Give(body=PAGE, fields=(HTML,)))
    async with talking(made.talk) as server:
        for path in ("/pub", "/pub/"):
            listing = await list_index(client, server.target(path), SECONDS)
            assert [(each.name, each.kind) for each in listing.entries] == [
                (b"a", Kind.FILE),
                (b"b", Kind.FOLDER),
            ]
            assert (listing.partial, listing.url) == (False, "")
            assert listing.origin == f"http://127.0.0.1:{server.port}"
            assert listing.steps
        assert {each.path for each in made.asked} == {"/pub/"}
        await list_index(client, server.target("/list?folder=pub"), SECONDS)
        assert made.asked[-1].path == "/list?folder=pub"


async def test_a_redirect_is_told(client: HttpClient) -> None:
    def give(asked: Asked) -> Give:
        if asked.path == "/old/":
            return Give("301 Moved Permanently", fields=("Location: /new/",))
        return Give(body=PAGE, fields=(HTML,))

    made = Site(give)
    async with talking(made.talk) as server:
        listing = await list_index(client, server.target("/old"), SECONDS)
        root = f"http://127.0.0.1:{server.port}"
        assert listing.url == f"{root}/new/"
        assert [each.url for each in listing.entries] == [f"{root}/new/a", f"{root}/new/b/"]


FAULTS: dict[str, tuple[Give, type[HeadraceError]]] = {
    "missing": (Give("404 Not Found", PAGE, (HTML,)), NotThere),
    "a document": (Give(body=PAGE, fields=("Content-Type: text/plain",)), WrongDocument),
    "json": (Give(body=b'{"a": 1}', fields=("Content-Type: application/json",)), WrongDocument),
    "a page": (Give(body=b"<html><h1>Welcome</h1></html>", fields=(HTML,)), WrongDocument),
    "cut short": (Give(body=PAGE, fields=(HTML,), cut=50), BrokenOff),
}


@pytest.mark.parametrize("name", FAULTS)
async def test_faults(client: HttpClient, name: str) -> None:
    give, kind = FAULTS[name]
    made = Site(lambda _: give)
    async with talking(made.talk) as server:
        with pytest.raises(HeadraceError) as caught:
            await list_index(client, server.target("/pub"), SECONDS)
        assert type(caught.value) is kind


@pytest.mark.parametrize("large", [False, True])
async def test_a_large_page_waits_for_its_turn(client: HttpClient, large: bool) -> None:
    """There is none here, so that whoever asks for one is told."""
    page = PAGE + b" " * (limits.LARGE_BYTES + 1 - len(PAGE) if large else 0)
    made = Site(lambda _: Give(body=page, fields=(HTML,)))
    async with talking(made.talk) as server:
        with pytest.raises(GatewayFull) if large else nullcontext(), holding(Turns(0)):
            assert len((await list_index(client, server.target("/pub"), SECONDS)).entries) == 2


async def test_a_page_without_a_type_is_looked_at(client: HttpClient) -> None:
    made = Site(lambda _: Give(body=PAGE))
    async with talking(made.talk) as server:
        assert len((await list_index(client, server.target("/pub"), SECONDS)).entries) == 2


async def test_a_page_without_end(client: HttpClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is here of it is listed, and marked as partial."""
    monkeypatch.setattr(limits, "LIST_BYTES", 100_000)
    page = PAGE + b"".join(b'<a href="%06d">x</a>\n' % number for number in range(20_000))
    made = Site(lambda _: Give(body=page, fields=(HTML,), length=1 << 40))
    async with talking(made.talk) as server:
        listing = await list_index(client, server.target("/pub"), SECONDS)
        assert listing.partial
        assert 4_000 < len(listing.entries) < 5_000
