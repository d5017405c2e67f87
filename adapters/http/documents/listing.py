"""Folder -> Listing, by way of its index page: a GET and adapters.http.index_pages."""

import asyncio
from typing import Final

from adapters import limits
from adapters.errors import WrongDocument
from adapters.files import A_DOCUMENT, Kind, Listing, Target
from adapters.http.answer.media import media_type
from adapters.http.client import Answer, HttpClient, Request
from adapters.http.documents.looking import kind_by_slash
from adapters.http.documents.places import as_folder
from adapters.http.index_pages import index_entries
from adapters.in_hand import in_hand

_HTML: Final = frozenset({"", "text/html", "application/xhtml+xml"})


async def list_index(client: HttpClient, target: Target, seconds: float) -> Listing:
    """The entries of a folder. NotThere as the server says; WrongDocument for a document or no index page."""
    folder = as_folder(target)
    deadline = asyncio.get_running_loop().time() + seconds
    async with client.exchange(Request("GET", folder, accept="text/html, */*;q=0.1"), seconds) as answer:
        fault = answer.fault
        if fault is None and media_type(answer.fields.first("content-type"))[0] not in _HTML:
            fault = WrongDocument("Not an index page")
        page, cut = (bytearray(), False) if fault is not None else await _page(answer)
    if fault is not None:
        left = deadline - asyncio.get_running_loop().time()
        if await kind_by_slash(client, target, left) is Kind.FILE:
            raise WrongDocument(A_DOCUMENT) from fault
        raise fault
    if len(page) <= limits.INLINE_BYTES:
        found = index_entries(bytes(page), answer.url, folder.url)
    else:  # other clients go on meanwhile
        found = await asyncio.to_thread(index_entries, bytes(page), answer.url, folder.url)
    return Listing(
        entries=found.entries,
        partial=found.partial or cut,
        url="" if answer.url == folder.url else answer.url,
        origin=answer.origin,
        steps=answer.steps,
    )


async def _page(answer: Answer) -> tuple[bytearray, bool]:
    """The page, and whether it was cut at its limit."""
    page = bytearray()
    async for chunk in answer.chunks:
        page += chunk
        if len(page) > limits.LIST_BYTES:
            del page[limits.LIST_BYTES :]
            return page, True
        await in_hand(len(page))
    return page, False
