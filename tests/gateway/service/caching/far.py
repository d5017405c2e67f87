"""A far server that follows a script, and documents that it may answer with."""

import asyncio
from dataclasses import replace

from adapters.port import Call, Fetched, Freshness, Validators
from gateway.service.caching.cache import Cache
from tests.gateway.service.caching.virtual_time import clock

CALL = Call("https://far.example/doc?x=1")
PLAIN = Fetched(b"one", "text/plain", origin="https://far.example:443")
TWO = replace(PLAIN, body=b"two")
MINUTE = replace(PLAIN, freshness=Freshness(60))
TAGGED = replace(MINUTE, validators=Validators('"1"', "Tue, 01 Jan 2030 00:00:00 GMT"))
SAME = Fetched(b"", not_modified=True)


class Far:
    """Answers the script's items in turn, the last one for ever. An item: an answer or an exception, and
    how many seconds it takes (None: for ever)."""

    def __init__(
        self, *script: Fetched | BaseException | tuple[Fetched | BaseException, float | None]
    ) -> None:
        self.script = list(script)
        self.calls: list[Call] = []
        self.begun: asyncio.Queue[Call] = asyncio.Queue()
        self.spans: list[float] = []
        self.running = 0
        self.cancelled = 0

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        self.calls.append(call)
        self.begun.put_nowait(call)
        self.spans.append(seconds)
        item = self.script.pop(0) if len(self.script) > 1 else self.script[0]
        answer, takes = item if isinstance(item, tuple) else (item, 0.0)
        self.running += 1
        try:
            if takes is None:
                await asyncio.Event().wait()
            elif takes:
                await asyncio.sleep(takes)
        except asyncio.CancelledError:
            self.cancelled += 1
            raise
        finally:
            self.running -= 1
        if isinstance(answer, BaseException):
            raise answer
        return answer

    @property
    def asked(self) -> int:
        return len(self.calls)


def cached(
    *script: Fetched | BaseException | tuple[Fetched | BaseException, float | None],
) -> tuple[Cache, Far]:
    far = Far(*script)
    return Cache(far.fetch, None, clock), far
