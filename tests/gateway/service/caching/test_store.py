"""The store: beside the loop, and never an error to a client, whatever the disk does."""

import asyncio
import logging
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from adapters import limits
from adapters.port import Call, Fetched
from gateway.service.caching.cache import Cache, How
from gateway.service.caching.freshness import Copy
from gateway.service.caching.store import Store
from gateway.service.caching.storefile import FILE_NAME, StoreFile

ROOT = Path(__file__).parents[4]
KEY = "0" * 64
OTHER = "1" * 64
COPY = Copy(Fetched(b"body"), 1.0)
NEWER = Copy(Fetched(b"newer"), 2.0)


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[Store]:
    opened = Store(tmp_path)
    yield opened
    await opened.aclose()


@pytest.fixture
def short_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "STORE_PAUSE_SECONDS", 0.1)
    monkeypatch.setattr(limits, "STORE_LOCK_SECONDS", 0.05)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Another process that holds the file, for readers too."""
    other = sqlite3.connect(folder / FILE_NAME, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


async def test_what_is_saved_is_loaded(store: Store) -> None:
    assert await store.load(KEY) is None
    store.save(KEY, COPY)
    assert await store.load(KEY) == COPY
    store.save(KEY, NEWER)
    store.forget(OTHER)
    assert await store.load(KEY) == NEWER
    store.forget(KEY[:32])
    assert await store.load(KEY) is None


async def test_nothing_is_opened_before_it_is_needed(tmp_path: Path) -> None:
    store = Store(tmp_path / "later")
    assert not (tmp_path / "later").exists()
    assert await store.open()
    assert (tmp_path / "later" / FILE_NAME).exists()
    await store.aclose()


async def test_a_closed_store_does_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save(KEY, COPY)
    await store.aclose()
    await store.aclose()
    store.save(KEY, NEWER)
    store.forget(KEY)
    assert await store.load(KEY) is None
    assert not await store.open()
    again = Store(tmp_path)
    assert await again.load(KEY) == COPY  # what was saved before closing was written
    await again.aclose()


async def test_the_loop_is_not_blocked(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    release = threading.Event()
    save = StoreFile.save

    def slow(self: StoreFile, key: str, copy: Copy) -> bool:
        release.wait(5)
        return save(self, key, copy)

    monkeypatch.setattr(StoreFile, "save", slow)
    begun = time.perf_counter()
    store.save(KEY, COPY)
    assert time.perf_counter() - begun < 0.5
    release.set()
    assert await store.load(KEY) == COPY


async def test_a_stuck_disk_costs_a_load_only_its_seconds(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    release = threading.Event()
    monkeypatch.setattr(StoreFile, "load", lambda *_: release.wait(5) and None)
    assert await store.load(KEY, 0.05) is None
    begun = time.perf_counter()
    assert await store.load(KEY, 5) is None  # not tried while it is stuck
    assert time.perf_counter() - begun < 0.5
    release.set()
    assert "does without its disk" in caplog.text


@pytest.mark.usefixtures("short_pause")
async def test_a_locked_file_degrades_to_nothing_and_recovers(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    store = Store(tmp_path)
    store.save(KEY, COPY)
    await store.flush()
    await store.aclose()
    store = Store(tmp_path)
    with locked(tmp_path):
        assert await store.load(KEY) is None
        store.save(KEY, NEWER)
        assert not await store.open()
    await asyncio.sleep(0.15)
    # What could not be written made the older row doubtful: it is gone, not served.
    assert await store.load(KEY) is None
    store.save(KEY, NEWER)
    assert await store.load(KEY) == NEWER
    await store.aclose()
    messages = [record.message for record in caplog.records]
    assert messages == ["the cache does without its disk for now", "the cache's disk works again"]


@pytest.mark.usefixtures("short_pause")
async def test_what_was_to_be_forgotten_while_the_disk_failed_is_forgotten(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save(KEY, COPY)
    store.save(OTHER, COPY)
    await store.flush()
    with locked_writer(tmp_path):
        store.forget(KEY[:32])
        await store.flush()
    await asyncio.sleep(0.15)
    assert await store.load(KEY) is None
    assert await store.load(OTHER) == COPY
    await store.aclose()


@contextmanager
def locked_writer(folder: Path) -> Iterator[None]:
    other = sqlite3.connect(folder / FILE_NAME, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


@pytest.mark.usefixtures("short_pause")
async def test_too_many_doubts_doubt_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "STORE_DOUBTS", 3)
    store = Store(tmp_path)
    store.save(KEY, COPY)
    await store.flush()
    with locked_writer(tmp_path):
        for number in range(5):
            store.forget(f"{number + 2:064x}")
        await store.flush()
    await asyncio.sleep(0.15)
    assert await store.load(KEY) is None
    store.save(KEY, NEWER)
    assert await store.load(KEY) == NEWER
    await store.aclose()


@pytest.mark.usefixtures("short_pause")
async def test_a_full_file_degrades_and_recovers(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """SQLITE_FULL, as on a full disk, here from PRAGMA max_page_count."""
    store = Store(tmp_path)
    store.save(KEY, COPY)
    await store.flush()
    connection = store._file._use

    def cap() -> None:
        connection().execute("PRAGMA max_page_count = 20")

    await asyncio.get_running_loop().run_in_executor(store._thread, cap)
    store.save(OTHER, Copy(Fetched(bytes(1 << 20)), 1.0))
    await store.flush()
    assert "full" in caplog.text or "full" in str([record.__dict__.get("why") for record in caplog.records])
    await asyncio.sleep(0.15)
    assert await store.load(KEY) == COPY
    store.save(OTHER, NEWER)
    assert await store.load(OTHER) == NEWER
    await store.aclose()


@pytest.mark.usefixtures("short_pause")
async def test_after_a_failure_the_file_is_opened_again(tmp_path: Path) -> None:
    """A connection that went bad is not kept: here one that may only read."""
    store = Store(tmp_path)
    await store.open()
    await asyncio.get_running_loop().run_in_executor(
        store._thread, lambda: store._file._use().execute("PRAGMA query_only = ON")
    )
    store.save(KEY, COPY)
    await store.flush()
    await asyncio.sleep(0.15)
    store.save(KEY, COPY)
    assert await store.load(KEY) == COPY
    await store.aclose()


async def test_a_folder_that_cannot_be_made_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file stands in the way")
    store = Store(tmp_path / "taken" / "state")
    assert not await store.open()
    store.save(KEY, COPY)
    assert await store.load(KEY) is None
    await store.aclose()


async def test_a_client_never_sees_the_disk_fail(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file stands in the way")

    async def fetch(_: Call, __: float) -> Fetched:
        return Fetched(b"one")

    cache = Cache(fetch, Store(tmp_path / "taken"), time.time)
    call = Call("https://far.example/")
    assert (await cache.get(call, 5, 60, None)).how is How.FETCHED
    assert (await cache.get(call, 5, 60, None)).how is How.FRESH_MEMORY
    await cache.aclose()


async def test_a_backlog_is_not_let_grow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "STORE_BACKLOG_BYTES", 2500)
    release = threading.Event()
    store = Store(tmp_path)
    store.save(KEY, COPY)
    await store.flush()
    store._thread.submit(release.wait, 5)
    store.save(OTHER, Copy(Fetched(bytes(2000)), 1.0))
    store.save(KEY, Copy(Fetched(bytes(1000)), 2.0))  # too much: the older row goes instead
    release.set()
    assert await store.load(KEY) is None
    assert await store.load(OTHER) is not None
    store.save(KEY, Copy(Fetched(bytes(1000)), 2.0))
    assert await store.load(KEY) is not None
    await store.aclose()


WRITER = """
import asyncio, sys
from pathlib import Path
from adapters.port import Fetched
from gateway.service.caching.freshness import Copy
from gateway.service.caching.store import Store

async def main():
    store = Store(Path(sys.argv[1]))
    for number in range(1_000_000):
        store.save(f"{number:064x}", Copy(Fetched(number.to_bytes(4, "big") * 2000), float(number)))
        await store.flush()
        print(number, flush=True)

asyncio.run(main())
"""


async def test_it_survives_being_killed(tmp_path: Path) -> None:
    """SQLite in WAL mode: a killed process (not a lost machine) loses nothing that was committed."""
    for _ in range(3):
        command = [sys.executable, "-c", WRITER, str(tmp_path)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:  # noqa: ASYNC220
            assert writer.stdout is not None
            last = -1
            for line in writer.stdout:
                last = int(line)
                if last >= 40:
                    break
            writer.send_signal(signal.SIGKILL)
            for line in writer.stdout:
                last = int(line) if line.endswith("\n") else last
            writer.wait()
        assert writer.returncode == -signal.SIGKILL
        with sqlite3.connect(tmp_path / FILE_NAME) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        connection.close()
        store = Store(tmp_path)
        for number in range(last + 1):
            copy = await store.load(f"{number:064x}")
            assert copy == Copy(Fetched(number.to_bytes(4, "big") * 2000), float(number)), number
        await store.aclose()
    assert not (tmp_path / f"{FILE_NAME}.damaged").exists()


FULL = """
import asyncio, logging, resource, sys
from pathlib import Path
from adapters.port import Call, Fetched
from gateway.service.caching.cache import Cache
from gateway.service.caching.store import Store

async def main():
    logging.basicConfig(level=logging.WARNING, format="%(message)s why=%(why)s")
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
    async def fetch(call, seconds):
        return Fetched(bytes(50_000))
    store = Store(Path(sys.argv[1]))
    cache = Cache(fetch, store, lambda: 1e9)
    for number in range(40):
        await cache.get(Call(f"https://far.example/{number}"), 5, 60, None)
        await store.flush()
    print(sum(cache.peek(Call(f"https://far.example/{number}"), 60) is not None for number in range(40)))
    await cache.aclose()

asyncio.run(main())
"""


def test_a_disk_without_room_degrades_to_memory(tmp_path: Path) -> None:
    """A real failure of write(): EFBIG from the process's limit on file sizes (setrlimit(2))."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "40"
    assert done.stderr.count("does without its disk") >= 1
    assert "Traceback" not in done.stderr


async def test_its_thread_is_over_when_it_is_closed(tmp_path: Path) -> None:
    before = set(threading.enumerate())
    for _ in range(20):
        opened = Store(tmp_path)
        await opened.flush()
        assert set(threading.enumerate()) > before
        await opened.aclose()
        assert set(threading.enumerate()) == before


async def test_closed_once_is_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store, closed = Store(tmp_path), list[StoreFile]()
    real = StoreFile.close

    def close(file: StoreFile) -> None:
        closed.append(file)
        real(file)

    monkeypatch.setattr(StoreFile, "close", close)
    await store.aclose()
    await store.aclose()
    assert len(closed) == 1


async def test_a_slow_disk_holds_up_no_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(limits, "STORE_CLOSE_SECONDS", 0.05)
    store, release = Store(tmp_path), threading.Event()
    store._thread.submit(release.wait, 5)
    begun = time.perf_counter()
    await store.aclose()
    assert time.perf_counter() - begun < 2
    assert "the disk is slow" in caplog.text
    release.set()


@pytest.mark.usefixtures("short_pause")
async def test_a_disk_that_fails_again_is_told_of_once(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    tries: list[str] = []

    def fails(_: StoreFile, key: str) -> None:
        tries.append(key)
        raise OSError(5, "made to fail")

    monkeypatch.setattr(StoreFile, "load", fails)
    for _ in range(2):
        assert await store.load(KEY) is None
        await asyncio.sleep(0.15)
    assert tries == [KEY, KEY]
    assert caplog.text.count("does without its disk") == 1
