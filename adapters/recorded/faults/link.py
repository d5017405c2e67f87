"""An HTTP link -> the same, on which requests go wrong as a plan says.

What httpcore, h11 and TLS raise where that happens on the line is raised here, so that all above the link
makes of it what it makes of the real thing.
"""

import asyncio
from collections.abc import AsyncIterable, AsyncIterator
from contextlib import asynccontextmanager

import httpcore

from adapters.addresses import Guard
from adapters.errors import CannotConnect, Untrusted
from adapters.http.link.exchange import Exchange
from adapters.http.link.link import Link
from adapters.recorded.faults.plan import Damage, Fault, FaultPlan
from adapters.recorded.http.requests import url_of


class FaultyLink(Link):
    """`inner`, and `plan` before it."""

    def __init__(self, inner: Link, plan: FaultPlan) -> None:
        super().__init__()
        self._inner = inner
        self._plan = plan

    @asynccontextmanager
    async def answer(
        self,
        request: httpcore.Request,
        exchange: Exchange,
        guard: Guard,
        ca: str | None,
        *,
        alone: bool,
    ) -> AsyncIterator[httpcore.Response]:
        """The answer, or what is planned instead."""
        fault = self._plan.due(request.method.decode("ascii"), url_of(request))
        if fault is not None:
            exchange.begin_request()
            exchange.dialled = True
            _before_it_is_sent(fault)
            exchange.sent = True
            await _before_it_is_answered(fault)
            if fault.damage is Damage.STATUS:
                exchange.answered, exchange.status = True, fault.status
                yield _status(fault)
                return
        async with self._inner.answer(request, exchange, guard, ca, alone=alone) as response:
            if fault is not None and fault.damage in (Damage.CUT, Damage.GARBLED):
                assert isinstance(response.stream, AsyncIterable)
                response.stream = _Damaged(response.stream, fault)
            yield response

    async def aclose(self) -> None:
        """Close the inner link."""
        await self._inner.aclose()
        await super().aclose()


def _before_it_is_sent(fault: Fault) -> None:
    if fault.damage is Damage.REFUSED:
        raise CannotConnect("The far server refuses to connect")
    if fault.damage is Damage.EXPIRED:
        raise Untrusted


async def _before_it_is_answered(fault: Fault) -> None:
    if fault.damage is Damage.SLOW:
        await asyncio.sleep(fault.seconds or 0)
    elif fault.damage is Damage.RESET:
        raise httpcore.ReadError("reset on cue")
    elif fault.damage is Damage.MALFORMED:
        raise httpcore.RemoteProtocolError("no HTTP on cue")


def _status(fault: Fault) -> httpcore.Response:
    wait = [] if fault.seconds is None else [(b"Retry-After", str(round(fault.seconds)).encode())]
    return httpcore.Response(
        fault.status,
        headers=[(b"Content-Length", b"0"), *wait],
        content=b"",
        extensions={"network_stream": None},
    )


class _Damaged:
    """A body of which only the first bytes come as they are."""

    def __init__(self, stream: AsyncIterable[bytes], fault: Fault) -> None:
        self._stream = stream
        self._fault = fault

    async def __aiter__(self) -> AsyncIterator[bytes]:
        async for piece in damaged(self._stream, self._fault):
            yield piece
        if self._fault.damage is Damage.CUT:
            raise httpcore.RemoteProtocolError("cut on cue")

    async def aclose(self) -> None:
        """What httpcore ends every body with."""
        close = getattr(self._stream, "aclose", None)
        if close is not None:
            await close()


async def damaged(chunks: AsyncIterable[bytes], fault: Fault) -> AsyncIterator[bytes]:
    """A body's chunks up to where it is cut, or all of them with question marks for what is garbled."""
    left = fault.size
    async for chunk in chunks:
        good = chunk[:left]
        left -= len(good)
        piece = good if fault.damage is Damage.CUT else good + b"?" * (len(chunk) - len(good))
        if piece:
            yield piece
        if fault.damage is Damage.CUT and len(good) < len(chunk):
            return
