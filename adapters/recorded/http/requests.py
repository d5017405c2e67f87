"""httpcore.Request -> Asked: what was asked for, its body copied as it is sent."""

from collections.abc import AsyncIterable

import httpcore

from adapters.http.link.sending import Sending
from adapters.recorded.asking import REQUEST
from adapters.recorded.copies import Copied
from adapters.recorded.exchange import Asked, Content


def url_of(request: httpcore.Request) -> str:
    """The whole URL, the port only where it is not the usual one."""
    url = request.url
    scheme, host = url.scheme.decode("ascii"), url.host.decode("ascii")
    port = f":{url.port}" if url.port not in (None, {"http": 80, "https": 443}[scheme]) else ""
    return f"{scheme}://{f'[{host}]' if ':' in host else host}{port}{url.target.decode('ascii')}"


def copied(request: httpcore.Request) -> Copied:
    """The request's body, which is copied from now on as it is sent."""
    stream = request.stream
    assert isinstance(stream, AsyncIterable)
    copy = Copied(stream.__aiter__, stream.again if isinstance(stream, Sending) else stream.__aiter__)
    request.stream = copy
    return copy


def asked_of(request: httpcore.Request, body: Content) -> Asked:
    """The request, `body` instead of its stream."""
    headers = tuple((name.decode("latin-1"), value.decode("latin-1")) for name, value in request.headers)
    return Asked(
        method=request.method.decode("ascii"),
        url=url_of(request),
        headers=headers,
        body=body if body.size else None,
        request=REQUEST.get(),
    )
