"""Request -> Answer: one exchange whose body streams, either way, over HTTP/1.1 (RFC 9110, RFC 9112).

What HttpAdapter.fetch does for whole documents, for files of any size: the same connections, guard, turns and
errors. A body goes out as it is read and comes in as it is asked for, so that the slower side sets the pace
and memory stays bounded. Redirects are those of an exchange about files in adapters.http.redirects.

A request that changes something is sent once, on a connection of its own, and so is every streamed body.
A far server that answers before it has the whole body is heard: the rest is not sent.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

import httpcore

from adapters import limits
from adapters.addresses import Resolver, guard_for
from adapters.errors import (
    HeadraceError,
    MayBeDone,
    NotPossible,
    TooLarge,
    TooSlow,
    WrongDocument,
)
from adapters.files import Target, Upload
from adapters.http.answer.fields import Fields
from adapters.http.answer.retry_after import retry_after
from adapters.http.cookies import ChainCookies
from adapters.http.faults import translated
from adapters.http.link.exchange import CURRENT, Exchange
from adapters.http.link.link import Link, connect_seconds, drain
from adapters.http.link.receiving import Receiving
from adapters.http.link.sending import Sending
from adapters.http.link.streams import Connect, open_stream
from adapters.http.messages import first_hop, request_fields, request_url
from adapters.http.redirects import Hop, next_exchange
from adapters.http.statuses import REDIRECT_STATUSES, status_fault
from adapters.http.urls import origin_text, url_origin
from adapters.port import Call, Credentials

_ANYWHERE: Final = frozenset({"range", "if-range", "want-repr-digest"})
"""Fields that say nothing of who asks, and go along when a redirect leaves the origin."""


@dataclass(frozen=True, slots=True)
class Request:
    """One request about `target`, whose URL is http or https.

    `headers` are not secret; CR, LF and NUL in them are refused. `changes`: the far server may act on it, so
    that what is doubtful becomes MayBeDone. An Upload that is not `repeatable` cannot follow a redirect.
    """

    method: str
    target: Target
    headers: tuple[tuple[str, str], ...] = ()
    body: Upload | bytes | None = None
    media_type: str = ""
    accept: str = ""
    changes: bool = False


@dataclass(slots=True)
class Answer:
    """What came back: any status that is not followed.

    `url` is the final request's, `chunks` the body, decoded from gzip (see adapters.http.link.receiving),
    which can be run through once; BrokenOff where it is cut short. `fault` is what adapters.http.statuses
    says about the status, for the caller to raise; None where it went well. `steps` as in `port.Fetched`, up
    to the header section.
    """

    status: int
    url: str
    fields: Fields
    chunks: AsyncIterator[bytes]
    origin: str
    steps: tuple[tuple[str, float], ...] = ()
    fault: HeadraceError | None = None
    decoded: bool = False

    async def body(self, limit: int) -> bytes:
        """The whole body. TooLarge where it has more than `limit` bytes."""
        parts = bytearray()
        async for chunk in self.chunks:
            parts += chunk
            if len(parts) > limit:
                raise TooLarge("The far server's answer is too large")
        return bytes(parts)


@dataclass(slots=True)
class _Flight:
    """One exchange under way. `deadline` is in the event loop's time."""

    request: Request
    call: Call
    deadline: float
    exchange: Exchange = field(default_factory=Exchange)
    cookies: ChainCookies = field(default_factory=ChainCookies)
    steps: dict[str, float] = field(default_factory=dict)
    sending: Sending | None = None
    opened: bool = False

    def took(self, label: str, seconds: float) -> None:
        self.steps[label] = self.steps.get(label, 0.0) + seconds

    def fault(self, error: Exception) -> Exception:
        """What the caller is told instead of `error`. What its own source raised comes back as it is, or as
        the gateway's own failing where it is no error of the house.
        """
        if self.sending is not None and error is self.sending.fault:
            return error if isinstance(error, HeadraceError) else HeadraceError()
        fault = TooSlow() if isinstance(error, TimeoutError) else translated(error, self.exchange)
        if isinstance(error, TimeoutError):
            self.exchange.time_is_up()
        if self.request.changes and self.exchange.doubtful and not isinstance(fault, MayBeDone):
            fault = MayBeDone()
        fault.far, fault.steps = self.exchange.far, tuple(self.steps.items())
        return fault


def _utc_now() -> datetime:
    return datetime.now(UTC)


class HttpClient:
    """Exchanges for adapters whose far servers speak HTTP; one instance for all clients, in one event loop.

    `link` is shared with whoever made it; `resolve`, `connect` and `now` are for tests to replace. `spelled`
    makes of an origin's URL the one that people are told.

    A login that an origin took before is not at fault for a 403 there: NotAllowed, not CredentialsRefused.
    """

    def __init__(
        self,
        resolve: Resolver | None = None,
        connect: Connect = open_stream,
        now: Callable[[], datetime] = _utc_now,
        link: Link | None = None,
        spelled: Callable[[str], str] = str,
    ) -> None:
        self._link = link or Link(resolve, connect)
        self._now = now
        self._spelled = spelled
        self._taken: dict[tuple[str, Credentials], None] = {}

    @asynccontextmanager
    async def exchange(self, request: Request, seconds: float) -> AsyncIterator[Answer]:
        """The answer, its body to be read inside of the context. Leaving early stops the transfer.

        All of it, the reading of the body too, ends within `seconds` from now, and where nothing moves for
        limits.STALL_SECONDS, as TooSlow. Errors are those of adapters.http.faults and .redirects; MayBeDone
        for a request that changes something whenever the far server may have acted and did not say that it
        did not. What an Upload's source raises comes out as it is, and the request was not whole.
        """
        flight = _Flight(request, _call(request), asyncio.get_running_loop().time() + seconds)
        async with AsyncExitStack() as stack:
            token = CURRENT.set(flight.exchange)
            try:
                async with asyncio.timeout_at(flight.deadline):
                    answer, receiving = await self._chain(flight, stack)
            except Exception as error:
                fault = flight.fault(error)
                if fault is error:
                    raise
                raise fault from error
            finally:
                CURRENT.reset(token)
            try:
                yield answer
            except Exception:
                await receiving.finish()
                raise
            else:
                await receiving.finish()
            finally:
                await receiving.close()

    async def aclose(self) -> None:
        """Close every connection; exchanges under way break off."""
        await self._link.aclose()

    async def _chain(self, flight: _Flight, stack: AsyncExitStack) -> tuple[Answer, Receiving]:
        hop = first_hop(flight.call)
        hop = Hop(hop.url, hop.method, flight.request.body, hop.personal)
        visits: set[tuple[str, str]] = set()
        while True:
            cookies = flight.cookies.header(hop.url)
            visit = str(hop.url), cookies
            if visit in visits:
                raise WrongDocument("Redirects in a circle")
            if len(visits) > limits.REDIRECTS:
                raise WrongDocument("Too many redirects")
            visits.add(visit)
            async with AsyncExitStack() as turn:
                response = await self._response(flight, hop, cookies, turn)
                fields = Fields(response.headers)
                if sum(len(name) + len(value) for name, value in response.headers) > limits.HEADER_BYTES:
                    raise TooLarge("The far server's answer is too large")
                if response.status not in REDIRECT_STATUSES:
                    ready = self._answer(flight, hop, response, fields)
                    await stack.enter_async_context(turn.pop_all())
                    return ready
                if not flight.request.changes:
                    await drain(response.aiter_stream())
                flight.cookies.keep(hop.url, response.headers)
            location = fields.first("location")
            flight.exchange.sent = False  # it was not done, but where `next_exchange` has doubts of its own
            hop = next_exchange(hop, response.status, location, changes=flight.request.changes)

    async def _response(
        self, flight: _Flight, hop: Hop, cookies: str, turn: AsyncExitStack
    ) -> httpcore.Response:
        """One request and the header section of its answer."""
        clock = asyncio.get_running_loop().time
        call, exchange = flight.call, flight.exchange
        origin = url_origin(hop.url)
        exchange.origin = self._spelled(origin_text(origin))
        content = await self._content(flight, hop)
        request = httpcore.Request(
            method=hop.method,
            url=request_url(call, hop),
            headers=request_fields(call, hop, cookies, "identity", _fields_for_anywhere(flight.request)),
            content=content,
            extensions={"timeout": dict.fromkeys(("connect", "read", "write"), limits.STALL_SECONDS)},
        )
        streamed = isinstance(content, Sending)
        gate = self._link.uploads if streamed else self._link.calls
        asked = clock()
        async with asyncio.timeout(limits.STALL_SECONDS):
            await turn.enter_async_context(gate.turn(origin[1:]))
        flight.took("queue", clock() - asked)
        asked = clock()
        guard = guard_for(call.reach, *origin[1:])
        alone = streamed or flight.request.changes
        response = await turn.enter_async_context(
            self._link.answer(request, exchange, guard, call.ca, alone=alone)
        )
        connecting = connect_seconds(response, exchange)
        flight.took("connect", connecting)
        flight.took("answer", clock() - asked - connecting)
        return response

    async def _content(self, flight: _Flight, hop: Hop) -> bytes | Sending | None:
        if not isinstance(hop.body, Upload):
            return hop.body
        if flight.opened and not hop.body.repeatable:
            raise NotPossible("Redirected, and not to be sent twice")
        flight.opened = True
        flight.sending = Sending(hop.body, flight.exchange)
        await flight.sending.prepare()
        return flight.sending

    def _in_doubt(self, origin: str, credentials: Credentials | None, status: int) -> bool:
        """Whether credentials were sent that the origin did not take before, nor with this status."""
        if credentials is None:
            return False
        login = origin, credentials
        if status == 401:
            self._taken.pop(login, None)
        if 200 <= status < 300 and login not in self._taken:
            while len(self._taken) >= limits.LOGINS_TAKEN:
                self._taken.pop(next(iter(self._taken)))
            self._taken[login] = None
        return login not in self._taken

    def _answer(
        self, flight: _Flight, hop: Hop, response: httpcore.Response, fields: Fields
    ) -> tuple[Answer, Receiving]:
        changes, exchange = flight.request.changes, flight.exchange
        credentials = flight.call.credentials if hop.personal else None
        fault = status_fault(
            response.status,
            changes=changes,
            with_credentials=self._in_doubt(exchange.origin, credentials, response.status),
            seconds=retry_after(fields.first("retry-after"), self._now()),
        )
        if fault is None and flight.sending is not None and not flight.sending.complete:
            raise WrongDocument("Not what was asked for")  # it cannot have what it never got
        if fault is not None:
            exchange.sent &= isinstance(fault, MayBeDone)
            fault.far, fault.steps = exchange.far, tuple(flight.steps.items())
        receiving = Receiving(
            response,
            fields,
            flight.deadline,
            flight.fault,
            path=hop.url.raw_path.partition(b"?")[0],
            bodiless=hop.method == "HEAD",
            kept=not (changes or flight.sending is not None),
        )
        answer = Answer(
            status=response.status,
            url=str(hop.url),
            fields=fields,
            chunks=receiving.chunks(),
            origin=exchange.origin,
            steps=tuple(flight.steps.items()),
            fault=fault,
            decoded=receiving.decoded,
        )
        return answer, receiving


def _call(request: Request) -> Call:
    """The same as a call, for what both have in common; its body is not."""
    target = request.target
    return Call(
        url=target.url,
        method=request.method,
        headers=request.headers,
        media_type=request.media_type or _upload_type(request.body),
        accept=request.accept,
        credentials=target.credentials,
        ca=target.ca,
        reach=target.reach,
        changes=request.changes,
    )


def _upload_type(body: Upload | bytes | None) -> str:
    return body.media_type if isinstance(body, Upload) else ""


def _fields_for_anywhere(request: Request) -> tuple[tuple[str, str], ...]:
    return tuple((name, value) for name, value in request.headers if name.lower() in _ANYWHERE)
