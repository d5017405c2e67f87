"""A connection's bytes -> the requests in them (RFC 9112), as far as a server for tests reads them."""

import asyncio
from dataclasses import dataclass
from typing import Final

from adapters import limits

_HEAD_END: Final = b"\r\n\r\n"


@dataclass(frozen=True, slots=True)
class Request:
    """One request as it came. `target` is what stands in the request line, its query included."""

    method: str
    target: str
    headers: tuple[tuple[str, str], ...]
    body: bytes = b""

    @property
    def path(self) -> str:
        """The target without its query."""
        return self.target.partition("?")[0]

    @property
    def query(self) -> str:
        """What follows the question mark; empty for none."""
        return self.target.partition("?")[2]

    def header(self, name: str) -> str | None:
        """The first header of that name, whatever its case."""
        return next((value for key, value in self.headers if key.lower() == name.lower()), None)


class NotHttp(Exception):
    """What came is no request that this server reads."""


async def read_request(reader: asyncio.StreamReader) -> Request | None:
    """The next request, or None where the other side is done. NotHttp, or OSError where the line broke."""
    try:
        head = await reader.readuntil(_HEAD_END)
    except asyncio.IncompleteReadError as error:
        if error.partial:
            raise NotHttp("the request broke off") from error
        return None
    except asyncio.LimitOverrunError as error:
        raise NotHttp("the header section is too long") from error
    first, *lines = head[: -len(_HEAD_END)].decode("latin-1").split("\r\n")
    words = first.split(" ")
    if len(words) != 3 or not words[2].startswith("HTTP/1."):
        raise NotHttp(f"no request line: {first[:80]!r}")
    fields = [line.partition(":") for line in lines]
    request = Request(words[0], words[1], tuple((name, value.strip()) for name, _, value in fields))
    try:
        body = await _body(reader, request)
    except (asyncio.IncompleteReadError, ValueError) as error:
        raise NotHttp("the request's body is not whole") from error
    return Request(request.method, request.target, request.headers, body)


async def _body(reader: asyncio.StreamReader, request: Request) -> bytes:
    if (request.header("Transfer-Encoding") or "").lower() == "chunked":
        return await _chunks(reader)
    length = int(request.header("Content-Length") or "0")
    if not 0 <= length <= limits.TESTING_BODY_BYTES:
        raise ValueError(length)
    return await reader.readexactly(length)


async def _chunks(reader: asyncio.StreamReader) -> bytes:
    body = bytearray()
    while size := int((await reader.readuntil(b"\r\n")).partition(b";")[0], 16):
        if len(body) + size > limits.TESTING_BODY_BYTES:
            raise ValueError(size)
        body += await reader.readexactly(size)
        await reader.readexactly(2)
    while await reader.readuntil(b"\r\n") != b"\r\n":
        pass  # trailer fields
    return bytes(body)
