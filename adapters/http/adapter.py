"""Call -> Fetched over HTTP/1.1, plain or TLS: the exchange, its redirects, its deadline and its errors.

Messages are httpx's (URLs, cookies), connections httpcore's, which is what httpx itself stands on: its own
client would keep cookies between fetches, log URLs with their keys, and has no public place for the address
guard. A call that changes something has a connection of its own, so that a break is never that
of an old connection, and is sent once. Any other call is sent once more where the kept connection that
it was sent on turns out to be dead (RFC 9112 section 9.3.1).
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

import httpcore

from adapters import limits
from adapters.addresses import Resolver, guard_for
from adapters.errors import HeadraceError, MayBeDone, TooLarge, TooSlow, WrongDocument
from adapters.files import Upload
from adapters.http.answer.bodies import Body, is_gzip
from adapters.http.answer.fields import Fields
from adapters.http.answer.freshness import freshness
from adapters.http.answer.media import media_type
from adapters.http.answer.retry_after import retry_after
from adapters.http.answer.validators import validators
from adapters.http.client import HttpClient
from adapters.http.cookies import ChainCookies
from adapters.http.documents.files import HttpFiles
from adapters.http.faults import translated
from adapters.http.link.exchange import CURRENT, Exchange
from adapters.http.link.link import Link, connect_seconds, drain
from adapters.http.link.streams import Connect, open_stream
from adapters.http.messages import first_hop, request_fields, request_url
from adapters.http.redirects import Hop, next_hop
from adapters.http.statuses import REDIRECT_STATUSES, status_fault
from adapters.http.urls import origin_text, url_origin
from adapters.in_hand import in_hand
from adapters.port import Call, Fetched


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


class HttpAdapter(HttpFiles):
    """The adapter for `http` and `https`; one instance serves both and all clients, in one event loop.

    `resolve`, `connect` and `now` are the outside world, for tests to replace; `link` is instead of the first
    two, such as one that records or plays.
    """

    def __init__(
        self,
        resolve: Resolver | None = None,
        connect: Connect = open_stream,
        now: Callable[[], datetime] = _utc_now,
        link: Link | None = None,
    ) -> None:
        self._link = link or Link(resolve, connect)
        super().__init__(HttpClient(now=now, link=self._link), now)

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
            if isinstance(error, TimeoutError):
                exchange.time_is_up()
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
        await self._link.aclose()

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
        async with self._link.calls.turn((host, port)):
            fetch.took("queue", clock() - asked)
            asked = clock()
            async with self._link.answer(
                self._request(fetch.call, hop, cookies),
                fetch.exchange,
                guard_for(fetch.call.reach, host, port),
                fetch.call.ca,
                alone=fetch.changing,
            ) as response:
                delay = clock() - asked
                connecting = connect_seconds(response, fetch.exchange)
                fetch.took("connect", connecting)
                fetch.took("answer", delay - connecting)
                return await self._read(fetch, hop, response, delay)

    def _request(self, call: Call, hop: Hop, cookies: str) -> httpcore.Request:
        assert not isinstance(hop.body, Upload)  # a call's is whole
        return httpcore.Request(
            method=hop.method,
            url=request_url(call, hop),
            headers=request_fields(call, hop, cookies),
            content=hop.body,
        )

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
            validators=validators(fields),
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
        if not fetch.changing:  # else its connection is not kept
            await drain(response.aiter_stream())


async def _body(hop: Hop, call: Call, response: httpcore.Response, fields: Fields) -> bytes:
    """The decoded body; read to its end, as only then it is known to be whole."""
    bodiless = hop.method == "HEAD" or response.status in (204, 205, 304)
    announced = fields.first("content-length") or ""
    if not bodiless and announced.isdecimal() and int(announced) > call.body_limit:
        raise TooLarge("The document is too large")
    gzip = not bodiless and is_gzip(fields.joined("content-encoding"))
    body = Body(gzip=gzip, raw_limit=call.body_limit)
    async for data in response.aiter_stream():
        for size in body.feed(data):
            await in_hand(size)
    return b"" if bodiless else body.finish()
