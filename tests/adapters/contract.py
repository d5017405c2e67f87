"""What every adapter keeps, whatever its protocol: inherit `AdapterContract` and give it a stand.

    class TestMyAdapter(AdapterContract):
        @pytest.fixture
        async def stand(self) -> AsyncIterator[Stand]:
            ...

The tests are those of adapters.port: bytes come through whole, every failure is the right error of
adapters.errors within its time, and nothing private gets into a sentence.
"""

import asyncio
from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable
from dataclasses import replace
from time import perf_counter

import pytest

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    HeadraceError,
    NotAllowed,
    NotThere,
    TooLarge,
    TooSlow,
)
from adapters.port import Adapter, Call, Fetched, Reach

HUSH = "hush-hush"
"""A word to put into the parts of a call that may not be told: query, login, path on disk."""

SECONDS = 20.0  # far more than anything takes here, as machines may be busy

BODIES = (b"", b"{}", bytes(range(256)), bytes(range(256)) * 1200, b"a\r\nb\rc\n\x00\x1a\xff")


class Stand(ABC):
    """An adapter and a far server for it. Something a family cannot do is a call to `pytest.skip`."""

    adapter: Adapter

    @abstractmethod
    async def document(self, body: bytes) -> Call:
        """A call that fetches exactly these bytes."""

    @abstractmethod
    async def absent(self) -> Call:
        """A call for something that is not there."""

    @abstractmethod
    async def stalled(self) -> Call:
        """A call whose answer never ends, though some of it comes."""

    @abstractmethod
    async def cut_short(self) -> Call:
        """A call whose answer ends before it should."""

    @abstractmethod
    async def nobody(self) -> Call:
        """A call to where nobody listens."""

    @abstractmethod
    def contacts(self) -> int:
        """How often the far server was connected to."""


class AdapterContract:
    """Inherit, and define the fixture `stand`."""

    @pytest.mark.parametrize("body", BODIES, ids=len)
    async def test_bytes_come_through_whole(self, stand: Stand, body: bytes) -> None:
        fetched = await stand.adapter.fetch(await stand.document(body), SECONDS)
        assert fetched.body == body
        assert not fetched.not_modified

    async def test_a_fetch_tells_where_and_how_long(self, stand: Stand) -> None:
        call = await stand.document(b"{}")
        began = perf_counter()
        fetched = await stand.adapter.fetch(call, SECONDS)
        took = perf_counter() - began
        assert isinstance(fetched, Fetched)
        assert fetched.origin.startswith(call.url.partition("//")[0])
        assert HUSH not in fetched.origin
        assert all(0 < len(label) <= 8 and label.isascii() for label, _ in fetched.steps)
        assert all(seconds >= 0 for _, seconds in fetched.steps)
        assert sum(seconds for _, seconds in fetched.steps) <= took

    async def test_two_hundred_at_once(self, stand: Stand) -> None:
        bodies = [f"document {number}".encode() for number in range(200)]
        calls = [await stand.document(body) for body in bodies]
        fetched = await asyncio.gather(*(stand.adapter.fetch(call, SECONDS) for call in calls))
        assert [each.body for each in fetched] == bodies

    async def test_what_is_not_there(self, stand: Stand) -> None:
        await self.fails(stand, stand.absent, NotThere)

    async def test_nobody_listens(self, stand: Stand) -> None:
        await self.fails(stand, stand.nobody, CannotConnect)

    async def test_an_answer_that_ends_too_soon(self, stand: Stand) -> None:
        await self.fails(stand, stand.cut_short, BrokenOff)

    async def test_a_deadline_holds(self, stand: Stand) -> None:
        began = perf_counter()
        await self.fails(stand, stand.stalled, TooSlow, seconds=0.2)
        assert 0.15 < perf_counter() - began < 2.0

    async def test_no_time_at_all(self, stand: Stand) -> None:
        call = await stand.document(b"{}")
        with pytest.raises(TooSlow):
            await stand.adapter.fetch(call, 0)

    async def test_a_body_limit_is_exact(self, stand: Stand) -> None:
        call = await stand.document(b"0123456789")
        assert (await stand.adapter.fetch(replace(call, body_limit=10), SECONDS)).body == b"0123456789"
        with pytest.raises(TooLarge):
            await stand.adapter.fetch(replace(call, body_limit=9), SECONDS)

    async def test_a_private_address_that_nobody_named(self, stand: Stand) -> None:
        call = await stand.document(b"{}")
        await stand.adapter.fetch(call, SECONDS)  # so that a connection may be kept
        before = stand.contacts()
        with pytest.raises(NotAllowed):
            await stand.adapter.fetch(replace(call, reach=Reach()), SECONDS)
        assert stand.contacts() == before

    @pytest.mark.parametrize("rest", ["", "//", "///x", "//exa mple\r\n/", "//[::1", "//x:99999/", "//x:y/"])
    async def test_what_is_no_url_of_this_scheme(self, stand: Stand, rest: str) -> None:
        scheme = (await stand.document(b"{}")).url.partition(":")[0]
        with pytest.raises(HeadraceError) as caught:
            await stand.adapter.fetch(Call(url=f"{scheme}:{rest}"), SECONDS)
        assert caught.value.code // 100 == 5
        tells_nothing_private(caught.value)

    async def test_a_cancelled_fetch_does_no_harm(self, stand: Stand) -> None:
        stalled = asyncio.create_task(stand.adapter.fetch(await stand.stalled(), SECONDS))
        await asyncio.sleep(0.05)
        stalled.cancel()
        with pytest.raises(asyncio.CancelledError):
            await stalled
        assert (await stand.adapter.fetch(await stand.document(b"{}"), SECONDS)).body == b"{}"

    async def test_closing_twice_does_no_harm(self, stand: Stand) -> None:
        await stand.adapter.fetch(await stand.document(b"{}"), SECONDS)
        await stand.adapter.aclose()
        await stand.adapter.aclose()

    async def fails(
        self,
        stand: Stand,
        make: Callable[[], Awaitable[Call]],
        kind: type[HeadraceError],
        seconds: float = SECONDS,
    ) -> None:
        """The call fails as `kind` and nothing else, and tells nothing private."""
        call = await make()
        with pytest.raises(HeadraceError) as caught:
            await stand.adapter.fetch(call, seconds)
        assert type(caught.value) is kind
        tells_nothing_private(caught.value)


def tells_nothing_private(fault: HeadraceError) -> None:
    """A client reads this on 40 columns of printable ASCII."""
    assert 0 < len(fault.sentence) <= 40
    assert all(" " <= character <= "~" for character in fault.sentence)
    for word in (HUSH, "://", "?", "Traceback"):
        assert word not in fault.sentence
