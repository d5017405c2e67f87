"""One instance of an adapter for all the schemes that it serves."""

from typing import ClassVar

import pytest

from adapters.errors import NotPossible
from adapters.port import Call, Fetched
from gateway.service import adapters as module
from gateway.service.adapters import Adapters


class Stand:
    made: ClassVar[list["Stand"]] = []

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.closed = 0
        Stand.made.append(self)

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        self.calls.append(call.url)
        return Fetched(b"")

    async def aclose(self) -> None:
        self.closed += 1


async def test_made_once_and_closed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    Stand.made = []
    monkeypatch.setattr(module, "lookup", lambda scheme: {"one": Stand, "two": Stand}[scheme])
    adapters = Adapters()
    for url in ("one://a/", "TWO://b/", "one://c/"):
        await adapters.fetch(Call(url), 1)
    await adapters.aclose()
    assert [each.calls for each in Stand.made] == [["one://a/", "TWO://b/", "one://c/"]]
    assert Stand.made[0].closed == 1


async def test_a_scheme_without_an_adapter_is_502() -> None:
    adapters = Adapters()
    with pytest.raises(NotPossible):
        await adapters.fetch(Call("gopher-of-nobody://far.example/"), 1)
    await adapters.aclose()
