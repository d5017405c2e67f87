"""httpcore.Request -> Asked: what was asked for, its body taken down as it is sent."""

from collections.abc import AsyncIterable, AsyncIterator
from tempfile import SpooledTemporaryFile

import httpcore

from adapters import limits
from adapters.recorded.asking import REQUEST
from adapters.recorded.exchange import Asked, Content


def url_of(request: httpcore.Request) -> str:
    """The whole URL, the port only where it is not the usual one."""
    url = request.url
    scheme, host = url.scheme.decode("ascii"), url.host.decode("ascii")
    port = f":{url.port}" if url.port not in (None, {"http": 80, "https": 443}[scheme]) else ""
    return f"{scheme}://{f'[{host}]' if ':' in host else host}{port}{url.target.decode('ascii')}"


class SentBody:
    """A request's body on its way: what it gave when it was last run through."""

    def __init__(self, stream: AsyncIterable[bytes]) -> None:
        self._stream = stream
        self._file = SpooledTemporaryFile(max_size=limits.STAGE_BYTES)  # noqa: SIM115 - closed by `close`

    async def __aiter__(self) -> AsyncIterator[bytes]:
        self._file.seek(0)
        self._file.truncate()
        async for chunk in self._stream:
            self._file.write(chunk)
            yield chunk

    def content(self) -> Content | None:
        """What went out, in memory; None for nothing."""
        self._file.seek(0)
        data = self._file.read()
        return Content(data) if data else None

    def close(self) -> None:
        """Forget it."""
        self._file.close()


def asked_of(request: httpcore.Request, body: Content | None) -> Asked:
    """The request without its body's stream, which `body` stands for."""
    headers = tuple((name.decode("latin-1"), value.decode("latin-1")) for name, value in request.headers)
    return Asked(
        method=request.method.decode("ascii"),
        url=url_of(request),
        headers=headers,
        body=body,
        request=REQUEST.get(),
    )
