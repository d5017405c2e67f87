"""The drills can fail: adapters that write in place, lie, or take short data for all of it are caught."""

import asyncio
import base64
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import asynccontextmanager, suppress
from urllib.parse import urlsplit

import pytest

from adapters.errors import BrokenOff, MayBeDone, NotThere
from adapters.files import Condition, FileAdapter, Kind, Listing, Reading, Stat, Target, Upload, Written
from demo_site.areas.dav import DavArea
from tests.faults.drills import DRILLS, MIDDLE, PASSWORD, USER, Outcome, Stand, check, cut_everywhere, run
from tests.faults.script import At, Cut, Way

BY_NAME = {drill.name: drill for drill in DRILLS}
HALF = Cut(At(MIDDLE, Way.UP), passed=True)


class Naive(FileAdapter):
    """Writes in place and reads to the end, whatever ends it; `fails` is what it makes of a broken line."""

    fails: type[Exception] = BrokenOff

    async def list(self, target: Target, seconds: float) -> Listing:
        return Listing(())

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        body = b"".join([chunk async for chunk in upload.chunks()])
        answer = await _exchange(target, b"PUT", body)
        if not answer.startswith(b"HTTP/1.1 20"):
            raise self.fails
        return Written(len(body))

    @asynccontextmanager
    async def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AsyncIterator[Reading]:
        _, _, body = (await _exchange(target, b"GET", b"")).partition(b"\r\n\r\n")

        async def chunks() -> AsyncIterator[bytes]:
            yield body

        yield Reading(chunks(), 0, None, Stat(Kind.FILE))


class Hopeful(Naive):
    """Takes it for done."""

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        try:
            return await super().write(target, upload, condition, seconds)
        except BrokenOff:
            return Written(None)


class Doubtful(Naive):
    fails = MayBeDone


class Blaming(Naive):
    fails = NotThere


async def _exchange(target: Target, method: bytes, body: bytes) -> bytes:
    url = urlsplit(target.url)
    reader, writer = await asyncio.open_connection(url.hostname, url.port)
    login = base64.b64encode(f"{USER}:{PASSWORD}".encode())
    head = b"%s %s HTTP/1.1\r\nHost: x\r\nAuthorization: Basic %s\r\n" % (method, url.path.encode(), login)
    try:
        writer.write(head + b"Connection: close\r\nContent-Length: %d\r\n\r\n" % len(body) + body)
        return await reader.read()
    except OSError:
        return b""
    finally:
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()


@pytest.fixture
def stand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[type[FileAdapter]], Stand]]:
    folder = tmp_path_factory.mktemp("naive")
    with DavArea(folder, USER, PASSWORD) as area:
        port = urlsplit(area.url).port or 0
        yield lambda adapter: Stand(adapter, "dav", port, folder)


@pytest.mark.parametrize(
    ("adapter", "fault"),
    [
        (Naive, "and done"),
        (Hopeful, "success, and not done"),
        (Doubtful, "a mixture"),
        (Blaming, "and done"),
    ],
)
async def test_a_half_written_target_is_seen(
    stand: Callable[[type[FileAdapter]], Stand], adapter: type[FileAdapter], fault: str
) -> None:
    outcome = await run(stand(adapter), BY_NAME["replace"], [HALF])
    assert outcome.proxy.plan.struck == [HALF]
    with pytest.raises(AssertionError, match=fault):
        check(BY_NAME["replace"], outcome)


async def test_an_error_of_another_kind_is_seen(stand: Callable[[type[FileAdapter]], Stand]) -> None:
    outcome = await run(stand(Blaming), BY_NAME["replace"], [Cut(At(b"PUT "))])
    with pytest.raises(AssertionError, match="told as NotThere"):
        check(BY_NAME["replace"], outcome)


async def test_short_data_taken_for_all_of_it_is_seen(stand: Callable[[type[FileAdapter]], Stand]) -> None:
    outcome = await run(stand(Naive), BY_NAME["read"], [Cut(At(MIDDLE, Way.DOWN))])
    with pytest.raises(AssertionError, match="a wrong answer"):
        check(BY_NAME["read"], outcome)


async def test_all_cuts_that_went_wrong_are_told_and_one_that_did_not_strike(
    stand: Callable[[type[FileAdapter]], Stand],
) -> None:
    def cuts(_clean: Outcome) -> Sequence[Cut]:
        return [HALF, Cut(At(b"PUT ")), Cut(At(b"never"))]

    with pytest.raises(AssertionError) as told:
        await cut_everywhere(stand(Naive), BY_NAME["replace"], cuts)
    said = str(told.value)
    assert "and done" in said
    assert "the cut did not strike" in said
    assert said.count("Cut(") == 2
