"""The cache with its store: real threads, real time."""

import asyncio
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from adapters.errors import CannotConnect, NotThere
from adapters.port import Call, CredentialKind, Credentials, Freshness
from gateway.service.caching.cache import Cache, How
from gateway.service.caching.store import Store
from gateway.service.caching.storefile import StoreFile
from tests.gateway.service.caching.far import CALL, MINUTE, PLAIN, SAME, TAGGED, TWO, Far
from tests.gateway.service.caching.virtual_time import EPOCH


async def test_the_disk_answers_after_a_restart(tmp_path: Path) -> None:
    far = Far(TAGGED, replace(SAME, freshness=Freshness(60)))
    cache = Cache(far.fetch, Store(tmp_path / "c"), lambda: EPOCH)
    await cache.get(CALL, 5, None, None)
    await cache.aclose()

    cache = Cache(far.fetch, Store(tmp_path / "c"), lambda: EPOCH + 30)
    assert cache.peek(CALL, None) is None  # nothing is read before it is asked for
    kept = await asyncio.gather(*(cache.get(CALL, 5, None, None) for _ in range(5)))
    assert {(each.how, each.age, each.fetched.body, each.serial) for each in kept} == {
        (How.FRESH_DISK, 30.0, b"one", kept[0].serial)
    }
    assert (await cache.get(CALL, 5, None, None)).how is How.FRESH_MEMORY
    await cache.aclose()

    cache = Cache(far.fetch, Store(tmp_path / "c"), lambda: EPOCH + 90)
    assert (await cache.get(CALL, 5, None, None)).how is How.REVALIDATED
    assert far.calls[-1].validators == TAGGED.validators
    await cache.aclose()

    cache = Cache(far.fetch, Store(tmp_path / "c"), lambda: EPOCH + 149)
    assert (await cache.get(CALL, 5, None, None)).age == 59  # the 304 is on disk too
    assert far.asked == 2
    await cache.aclose()


async def test_a_copy_on_disk_stands_in_after_a_restart(tmp_path: Path) -> None:
    far = Far(PLAIN, CannotConnect())
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    await cache.get(CALL, 5, 60, 3600)
    await cache.aclose()
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH + 600)
    kept = await cache.get(CALL, 5, 60, 3600)
    assert (kept.how, kept.age, kept.fetched.body) == (How.STALE, 600, b"one")
    await cache.aclose()


async def test_no_store_never_reaches_the_disk(tmp_path: Path) -> None:
    """Also where the copy was kept on disk before the server said no-store."""
    far = Far(MINUTE, replace(TWO, freshness=Freshness(60, no_store=True)))
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    await cache.get(CALL, 5, None, None)
    await cache.get(CALL, 5, 0, 60)
    assert cache.memory_bytes > 0
    await cache.aclose()
    store = Store(tmp_path)
    assert await store.load(cache.key_of(CALL)) is None
    await store.aclose()


async def test_a_change_reaches_the_disk(tmp_path: Path) -> None:
    far = Far(MINUTE)
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    await cache.get(CALL, 5, None, None)
    cache.forget("https://far.example/doc")
    await cache.aclose()
    store = Store(tmp_path)
    assert await store.load(cache.key_of(CALL)) is None
    await store.aclose()


async def test_a_change_while_the_disk_is_read_wins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who asked before the change may not bring the old copy back, who asks after it does not get it."""
    far = Far(MINUTE, replace(TWO, freshness=Freshness(60)))
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    await cache.get(CALL, 5, None, None)
    await cache.aclose()

    release = threading.Event()
    load = StoreFile.load
    monkeypatch.setattr(StoreFile, "load", lambda self, key: release.wait(5) and load(self, key))
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    before = asyncio.create_task(cache.get(CALL, 5, None, None))
    await asyncio.sleep(0.05)
    cache.forget(CALL.url)
    after = asyncio.create_task(cache.get(CALL, 5, None, None))
    await asyncio.sleep(0.05)
    release.set()
    assert (await after).fetched.body == b"two"
    assert (await before).fetched.body == b"two"
    hit = cache.peek(CALL, None)
    assert hit is not None
    assert hit.fetched.body == b"two"
    await cache.aclose()


async def test_a_forgotten_copy_does_not_stand_in(tmp_path: Path) -> None:
    """Also where the asker had it from disk before it was forgotten."""
    far = Far(replace(MINUTE, body=bytes(5000)), (CannotConnect(), 0.2))
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH, memory_bytes=4000)
    await cache.get(CALL, 5, 0, 3600)
    asker = asyncio.create_task(cache.get(CALL, 5, 0, 3600))
    for _ in range(2):
        await far.begun.get()
    cache.forget(CALL.url)
    with pytest.raises(CannotConnect):
        await asker
    await cache.aclose()


async def test_what_memory_let_go_comes_back_from_disk(tmp_path: Path) -> None:
    far = Far(replace(MINUTE, body=bytes(5000)))
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH, memory_bytes=4000)
    for how in (How.FETCHED, How.FRESH_DISK, How.FRESH_DISK):
        assert (await cache.get(CALL, 5, None, None)).how is how
    assert far.asked == 1
    await cache.aclose()


async def test_nothing_secret_is_on_disk(tmp_path: Path) -> None:
    """Nor the query of the URL: the key is a digest, and the far server is named by its origin only."""
    far = Far(MINUTE)
    call = Call(
        "https://far.example/path-planted?q=query-planted",
        headers=(("X-Header", "header-planted"),),
        credentials=Credentials(CredentialKind.BASIC, "user-planted", "secret-planted"),
    )
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    await cache.get(call, 5, None, None)
    await cache._store.flush()  # type: ignore[union-attr]  # before closing moves the log into the file
    before = written(tmp_path)
    await cache.aclose()
    assert b"planted" not in before + written(tmp_path)
    assert b"https://far.example:443" in before


def written(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.iterdir())


async def test_what_is_there_no_more_is_forgotten_on_disk_too(tmp_path: Path) -> None:
    """RFC 9111 section 4.3.3: a 404 is an answer, and no copy stands in for it."""
    far = Far(PLAIN, NotThere(), CannotConnect())
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    await cache.get(CALL, 5, 0, 3_600)
    with pytest.raises(NotThere):
        await cache.get(CALL, 5, 0, 3_600)
    await cache.aclose()
    cache = Cache(far.fetch, Store(tmp_path), lambda: EPOCH)
    with pytest.raises(CannotConnect):
        await cache.get(CALL, 5, 0, 3_600)
    await cache.aclose()


async def test_a_disk_that_does_not_answer_in_time_is_done_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def stuck(*_: object) -> None:
        await asyncio.sleep(30)

    monkeypatch.setattr(Store, "load", stuck)
    cache = Cache(Far(PLAIN).fetch, Store(tmp_path), lambda: EPOCH)
    kept = await cache.get(CALL, 1, 60, None)
    assert kept.fetched.body == b"one"
    await cache.aclose()
