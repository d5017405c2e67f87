"""Folder -> Listing, by way of its index page: a GET and adapters.http.index_pages."""

import asyncio
from typing import Final

from adapters import limits
from adapters.errors import WrongDocument
from adapters.files import Listing, Target
from adapters.http.answer.media import media_type
from adapters.http.client import HttpClient, Request
from adapters.http.documents.places import as_folder
from adapters.http.index_pages import index_entries

_HTML: Final = frozenset({"", "text/html", "application/xhtml+xml"})


async def list_index(client: HttpClient, target: Target, seconds: float) -> Listing:
    """The entries of a folder. NotThere as the server says; WrongDocument for no index page."""
    folder = as_folder(target)
    async with client.exchange(Request("GET", folder, accept="text/html, */*;q=0.1"), seconds) as answer:
        if answer.fault is not None:
            raise answer.fault
        if media_type(answer.fields.first("content-type"))[0] not in _HTML:
            raise WrongDocument("Not an index page")
        page, cut = bytearray(), False
        async for chunk in answer.chunks:
            page += chunk
            if len(page) > limits.LIST_BYTES:
                del page[limits.LIST_BYTES :]
                cut = True
                break
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
