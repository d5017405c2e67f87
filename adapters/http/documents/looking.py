"""Target -> what is there, without reading it: HEAD, or a GET of one byte where a server has no HEAD."""

import asyncio
from dataclasses import dataclass, replace
from datetime import datetime

from adapters.errors import HeadraceError, NotThere
from adapters.files import Kind, Stat, Target
from adapters.http.answer.content_range import content_range, unsatisfied_size
from adapters.http.answer.dates import http_date
from adapters.http.answer.media import media_type
from adapters.http.answer.validators import validators
from adapters.http.client import Answer, HttpClient, Request
from adapters.http.documents.places import as_folder, is_folder_url

_NO_HEAD = (405, 501)  # RFC 9110 sections 15.5.6 and 15.6.2


@dataclass(frozen=True, slots=True)
class Looked:
    """What was found, and at which URL in the end."""

    stat: Stat
    url: str

    def leads_to_folder(self, target: Target) -> bool:
        """Whether the server gave the target the slash at its end that folders have (common practice)."""
        return is_folder_url(self.url) and not is_folder_url(target.url)


async def look(client: HttpClient, target: Target, seconds: float, now: datetime) -> Looked:
    """Any fault of adapters.http.statuses; NotThere where nothing is."""
    async with client.exchange(Request("HEAD", target), seconds) as answer:
        if answer.status not in _NO_HEAD:
            if answer.fault is not None:
                raise answer.fault
            return Looked(stat_of(answer, target, document_size(answer), now), answer.url)
    request = Request("GET", target, headers=(("Range", "bytes=0-0"),))
    async with client.exchange(request, seconds) as answer:
        if answer.status == 416:  # there is no first byte (RFC 9110 section 15.5.17)
            size = unsatisfied_size(answer.fields.first("content-range"))
            return Looked(stat_of(answer, target, size, now), answer.url)
        if answer.fault is not None:
            raise answer.fault
        return Looked(stat_of(answer, target, document_size(answer), now), answer.url)


async def kind_by_slash(client: HttpClient, target: Target, seconds: float) -> Kind | None:
    """After a refusal, in a place of index pages: what is there, with and without a slash at its end
    (common practice: a document has none, a folder is redirected to the one with it). None: not to be told.
    """
    if "?" in target.url:
        return None
    deadline = asyncio.get_running_loop().time() + seconds
    plain = replace(target, url=target.url.rstrip("/"))
    for each in (plain, as_folder(plain)):
        left = deadline - asyncio.get_running_loop().time()
        try:
            async with client.exchange(Request("HEAD", each), left) as answer:
                slashed = is_folder_url(answer.url)
                redirected = slashed and not is_folder_url(each.url)
                if answer.status == 401:
                    return None  # a refused login is not tried again and again
                if answer.fault is None or (redirected and not isinstance(answer.fault, NotThere)):
                    return Kind.FOLDER if slashed else Kind.FILE
        except HeadraceError:
            return None
    return None


def document_size(answer: Answer) -> int | None:
    """The whole document's size in bytes, where the answer tells it and its bytes are not decoded."""
    if answer.decoded:
        return None
    if answer.status == 206:
        part = content_range(answer.fields.first("content-range"))
        return None if part is None else part.complete
    return _length(answer)


def _length(answer: Answer) -> int | None:
    announced = answer.fields.first("content-length") or ""
    known = announced.isascii() and announced.isdecimal() and len(announced) <= 18
    return int(announced) if known and answer.fields.first("transfer-encoding") is None else None


def stat_of(answer: Answer, target: Target, size: int | None, now: datetime) -> Stat:
    """What an answer says of its document. A folder is what a place of index pages ends in a slash."""
    kind, charset = media_type(answer.fields.first("content-type"))
    folder = target.index == "html" and is_folder_url(answer.url)
    modified = answer.fields.first("last-modified")
    return Stat(
        kind=Kind.FOLDER if folder else Kind.FILE,
        size=None if folder else size,
        modified=http_date(modified, now) if modified else None,
        validators=validators(answer.fields),
        media_type=kind,
        charset=charset,
        origin=answer.origin,
    )
