"""Look-ups on threads that hold nothing up."""

import asyncio
import socket
import threading
from time import perf_counter

import pytest

from adapters.errors import CannotConnect
from adapters.resolver import SystemResolver, look_up


def test_the_system_knows_itself() -> None:
    assert "127.0.0.1" in look_up("127.0.0.1", 80)


async def test_addresses_come_through_in_order() -> None:
    resolve = SystemResolver(lambda host, port: [f"{host}-{port}", "second"])
    assert await resolve("site", 80) == ["site-80", "second"]


@pytest.mark.parametrize(
    "error", [socket.gaierror(-2, "unknown"), UnicodeError("label too long"), RuntimeError("odd")]
)
async def test_every_failure_is_no_such_host(error: Exception) -> None:
    def fails(host: str, port: int) -> list[str]:
        raise error

    with pytest.raises(CannotConnect) as caught:
        await SystemResolver(fails)("site", 80)
    assert caught.value.sentence == "No such host"
    assert caught.value.__cause__ is error


async def test_those_who_ask_together_share_one_look_up() -> None:
    asked: list[str] = []
    go = threading.Event()

    def slow(host: str, port: int) -> list[str]:
        asked.append(host)
        go.wait(5)
        return ["8.8.8.8"]

    resolve = SystemResolver(slow)
    waiting = [asyncio.create_task(resolve("site", 80)) for _ in range(50)]
    await asyncio.sleep(0.01)
    go.set()
    assert await asyncio.gather(*waiting) == [["8.8.8.8"]] * 50
    assert asked == ["site"]
    await resolve("site", 80)
    assert asked == ["site", "site"], "an answer is not kept"


async def test_a_dead_name_server_holds_up_neither_the_deadline_nor_others() -> None:
    go = threading.Event()

    def dead_for_some(host: str, port: int) -> list[str]:
        if host.startswith("dead"):
            go.wait(5)
        return ["8.8.8.8"]

    resolve = SystemResolver(dead_for_some)
    began = perf_counter()
    stuck = [asyncio.wait_for(resolve(f"dead{number}", 80), 0.1) for number in range(40)]
    outcomes = await asyncio.gather(*stuck, resolve("live", 80), return_exceptions=True)
    assert all(isinstance(outcome, TimeoutError) for outcome in outcomes[:-1])
    assert outcomes[-1] == ["8.8.8.8"]
    assert perf_counter() - began < 2
    threads = [thread for thread in threading.enumerate() if thread.name == "headrace-lookup"]
    assert len(threads) == 40
    assert all(thread.daemon for thread in threads), "the program can end while they are stuck"
    go.set()


def test_an_answer_that_comes_when_the_program_ends_is_nobodys() -> None:
    """Its loop is closed by then. What a thread raises would be a warning, which fails a test here."""
    go, threads = threading.Event(), []

    def slow(host: str, port: int) -> list[str]:
        threads.append(threading.current_thread())
        go.wait(5)
        return ["8.8.8.8"]

    async def ask() -> None:
        async with asyncio.timeout(0.05):
            await SystemResolver(slow)("site", 80)

    with pytest.raises(TimeoutError):
        asyncio.run(ask())
    go.set()
    for thread in threads:
        thread.join(5)
    assert [thread.is_alive() for thread in threads] == [False]
