"""Call -> Fetched over HTTP/1.1, plain or TLS: the exchange, its redirects, its deadline and its errors.

Messages are httpx's (URLs, cookies), connections httpcore's, which is what httpx itself stands on: its own
client would keep cookies between fetches, log URLs with their keys, and has no public place for the address
guard. A call that changes something has a connection of its own, so that a break is never that
of an old connection, and is sent once. Any other call is sent once more where the kept connection that
it was sent on turns out to be dead (RFC 9112 section 9.3.1).
"""

import asyncio
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

import httpcore

from adapters import limits
from adapters.addresses import Resolver, guard_for
from adapters.errors import HeadraceError, MayBeDone, TooLarge, TooSlow, WrongDocument
from adapters.http.answer.bodies import Body, is_gzip
from adapters.http.answer.fields import Fields
from adapters.http.answer.freshness import freshness
from adapters.http.answer.media import media_type
from adapters.http.answer.retry_after import retry_after
from adapters.http.cookies import ChainCookies
from adapters.http.faults import translated
from adapters.http.link.exchange import CURRENT, Exchange
from adapters.http.link.gate import Gate
from adapters.http.link.logs import silence_libraries
from adapters.http.link.pools import Pools
from adapters.http.link.streams import Connect, Stream, open_stream
from adapters.http.messages import first_hop, request_fields, request_target
from adapters.http.redirects import Hop, next_hop
from adapters.http.statuses import REDIRECT_STATUSES, status_fault
from adapters.http.urls import origin_text, url_origin
from adapters.port import Call, Fetched, Validators
from adapters.resolver import SystemResolver

_DEAD: Final = (httpcore.ReadError, httpcore.WriteError, httpcore.RemoteProtocolError)
_CONTROL: Final = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")


def _utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class _Redirect:
    status: int
    location: str | None
    raw_fields: list[tuple[bytes, bytes]]


@dataclass(slots=True)
class _Fetch:
    """One call under way."""

    call: Call
    exchange: Exchange
    cookies: ChainCookies = field(default_factory=ChainCookies)
    steps: dict[str, float] = field(default_factory=dict)

    @property
    def changing(self) -> bool:
        """Whether the next request changes something: after a 303, what follows only asks."""
        return self.call.changes and not self.exchange.acted

    def took(self, label: str, seconds: float) -> None:
        self.steps[label] = self.steps.get(label, 0.0) + seconds


class HttpAdapter:
    """The adapter for `http` and `https`; one instance serves both and all clients, in one event loop.

    `resolve`, `connect` and `now` are the outside world, for tests to replace.
    """

    def __init__(
        self,
        resolve: Resolver | None = None,
        connect: Connect = open_stream,
        now: Callable[[], datetime] = _utc_now,
    ) -> None:
        silence_libraries()
        self._gate = Gate(limits.CALLS, limits.CALLS_PER_ORIGIN)
        self._pools = Pools(resolve or SystemResolver(), connect)
        self._now = now

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """The whole exchange, with look-up, waiting for a turn and redirects, within `seconds` from now.

        Errors are those of adapters.http.statuses, .faults and .redirects; MayBeDone for a call that changes
        something whenever the far server may have acted and did not say that it did not.
        """
        exchange = Exchange()
        fetch = _Fetch(call, exchange)
        token = CURRENT.set(exchange)
        try:
            async with asyncio.timeout(seconds):
                return await self._chain(fetch)
        except Exception as error:
            fault = TooSlow() if isinstance(error, TimeoutError) else translated(error, exchange)
            if call.changes and exchange.doubtful and not isinstance(fault, MayBeDone):
                fault = MayBeDone()
            fault.far, fault.steps = exchange.far, tuple(fetch.steps.items())
            if fault is error:
                raise
            raise fault from error
        finally:
            CURRENT.reset(token)

    async def aclose(self) -> None:
        """Close every connection; fetches under way break off."""
        await self._pools.aclose()

    async def _chain(self, fetch: _Fetch) -> Fetched:
        hop = first_hop(fetch.call)
        visits: set[tuple[str, str, str]] = set()
        while True:
            cookies = fetch.cookies.header(hop.url)
            visit = hop.method, str(hop.url), cookies
            if visit in visits:
                raise WrongDocument("Redirects in a circle")
            if len(visits) > limits.REDIRECTS:
                raise WrongDocument("Too many redirects")
            visits.add(visit)
            answer = await self._turn(fetch, hop, cookies)
            if isinstance(answer, Fetched):
                return answer
            changing = fetch.changing
            fetch.exchange.acted |= changing and answer.status == 303
            fetch.exchange.sent = changing and answer.status in (301, 302)  # 307, 308: not done, do it there
            fetch.cookies.keep(hop.url, answer.raw_fields)
            hop = next_hop(hop, answer.status, answer.location, changes=changing)

    async def _turn(self, fetch: _Fetch, hop: Hop, cookies: str) -> Fetched | _Redirect:
        """One request and its answer."""
        clock = asyncio.get_running_loop().time
        scheme, host, port = url_origin(hop.url)
        fetch.exchange.origin = f"{scheme}://{host}:{port}"
        asked = clock()
        async with self._gate.turn((host, port)):
            fetch.took("queue", clock() - asked)
            asked = clock()
            async with self._answer(fetch, hop, cookies) as response:
                delay = clock() - asked
                stream = response.extensions["network_stream"]
                connecting = (
                    stream.connect_seconds if fetch.exchange.dialled and isinstance(stream, Stream) else 0.0
                )
                fetch.took("connect", connecting)
                fetch.took("answer", delay - connecting)
                return await self._read(fetch, hop, response, delay)

    @asynccontextmanager
    async def _answer(self, fetch: _Fetch, hop: Hop, cookies: str) -> AsyncIterator[httpcore.Response]:
        """An answer up to the end of its header section; closed afterwards, whatever is left of it."""
        call, exchange = fetch.call, fetch.exchange
        scheme, host, port = url_origin(hop.url)
        guard = guard_for(call.reach, host, port)
        request = httpcore.Request(
            method=hop.method,
            url=httpcore.URL(
                scheme=scheme.encode("ascii"),
                host=host.encode("ascii"),
                port=hop.url.port,
                target=request_target(call, hop),
            ),
            headers=request_fields(call, hop, cookies),
            content=hop.body,
        )
        single: httpcore.AsyncHTTPConnection | None = None
        response: httpcore.Response | None = None
        try:
            if not fetch.changing:
                exchange.begin_request()
                pool = await self._pools.pool(scheme, call.ca, guard)
                try:
                    response = await pool.handle_async_request(request)
                except _DEAD:
                    if exchange.dialled:
                        raise
                else:
                    if _left_over(response):
                        await response.aclose()
                        response = None
            if response is None:
                exchange.begin_request()
                single = self._pools.single(scheme, call.ca, guard, request.url.origin)
                response = await single.handle_async_request(request)
            exchange.answered, exchange.status = True, response.status
            yield response
        finally:
            if response is not None:
                await response.aclose()
            if single is not None:
                await single.aclose()

    async def _read(
        self, fetch: _Fetch, hop: Hop, response: httpcore.Response, delay: float
    ) -> Fetched | _Redirect:
        call, status = fetch.call, response.status
        fields = Fields(response.headers)
        if sum(len(name) + len(value) for name, value in response.headers) > limits.HEADER_BYTES:
            raise TooLarge("The far server's answer is too large")
        if status in REDIRECT_STATUSES:
            await self._drain(fetch, response)
            return _Redirect(status, fields.first("location"), response.headers)
        fault = self._fault(fetch, hop, status, fields)
        if fault is not None:
            fetch.exchange.sent &= isinstance(fault, MayBeDone)
            await self._drain(fetch, response)
            raise fault
        begun = asyncio.get_running_loop().time()
        body = await _body(hop, call, response, fields)
        fetch.took("body", asyncio.get_running_loop().time() - begun)
        kind, charset = media_type(fields.first("content-type"))
        return Fetched(
            body=body,
            media_type=kind,
            charset=charset,
            status=status,
            validators=Validators(_validator(fields, "etag"), _validator(fields, "last-modified")),
            freshness=freshness(fields, self._now(), delay, status),
            not_modified=status == 304,
            origin=origin_text(url_origin(hop.url)),
            steps=tuple(fetch.steps.items()),
        )

    def _fault(self, fetch: _Fetch, hop: Hop, status: int, fields: Fields) -> HeadraceError | None:
        call = fetch.call
        seconds = retry_after(fields.first("retry-after"), self._now())
        conditional = call.validators and hop.method in ("GET", "HEAD")
        in_part = any(name.lower() == "range" for name, _ in call.headers)
        if (status == 304 and not conditional) or (status == 206 and not in_part):
            return MayBeDone() if fetch.changing else WrongDocument("Not what was asked for")
        return status_fault(
            status,
            changes=fetch.changing,
            with_credentials=hop.personal and call.credentials is not None,
            seconds=seconds,
        )

    async def _drain(self, fetch: _Fetch, response: httpcore.Response) -> None:
        """Read an unwanted body if it is small and here, so that its connection can be used again."""
        if fetch.changing:
            return  # its connection is not kept
        room = limits.DRAIN_BYTES
        with suppress(TimeoutError, httpcore.NetworkError, httpcore.ProtocolError):
            async with asyncio.timeout(limits.DRAIN_SECONDS):
                async for data in response.aiter_stream():
                    room -= len(data)
                    if room < 0:
                        return


def _left_over(response: httpcore.Response) -> bool:
    """Whether the answer was there before its request: what an earlier answer sent too much."""
    stream = response.extensions["network_stream"]
    return isinstance(stream, Stream) and stream.answered_unasked


def _validator(fields: Fields, name: str) -> str | None:
    """A validator that can be sent back, or None."""
    value = fields.first(name)
    return value if value and _CONTROL.search(value) is None else None


async def _body(hop: Hop, call: Call, response: httpcore.Response, fields: Fields) -> bytes:
    """The decoded body; read to its end, as only then it is known to be whole."""
    bodiless = hop.method == "HEAD" or response.status in (204, 205, 304)
    announced = fields.first("content-length") or ""
    if not bodiless and announced.isdecimal() and int(announced) > call.body_limit:
        raise TooLarge("The document is too large")
    gzip = not bodiless and is_gzip(fields.joined("content-encoding"))
    body = Body(gzip=gzip, raw_limit=call.body_limit)
    async for data in response.aiter_stream():
        body.feed(data)
    return b"" if bodiless else body.finish()
