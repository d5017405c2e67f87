import asyncio
import logging

import pytest

from adapters.redaction import Redactor
from gateway.testing.background import Background
from gateway.testing.logs import Log

GATEWAY, ADAPTERS, ASYNCIO = (logging.getLogger(name) for name in ("gateway.x", "adapters.x", "asyncio"))


def opened(level: str = "warning", owner: Background | None = None) -> Log:
    log = Log(level, Redactor())
    log.owner = owner
    return log


def test_each_gateway_has_its_own_lines() -> None:
    loops = [Background("log-one"), Background("log-other")]
    logs = [opened(owner=loop) for loop in loops]
    try:

        async def speak(word: str) -> None:
            GATEWAY.warning(word)
            await asyncio.to_thread(ADAPTERS.error, word + "-in-a-thread")

        for loop, word in zip(loops, ("one", "other"), strict=True):
            loop.run(speak(word), 5)
        GATEWAY.warning("nobody's")
        ASYNCIO.error("the test's own loop")
        for log, word in zip(logs, ("one", "other"), strict=True):
            assert [line.partition("message=")[2] for line in log.lines] == [
                word,
                f"{word}-in-a-thread",
                '"nobody\'s"',
            ]
            assert [line.partition("message=")[2] for line in log.errors] == [f"{word}-in-a-thread"]
    finally:
        for log, loop in zip(logs, loops, strict=True):
            log.end()
            loop.stop()


def test_what_nobody_waited_for_is_an_error_of_its_gateway() -> None:
    loop = Background("log-loop")
    log = opened(owner=loop)
    try:

        async def complain() -> None:
            asyncio.get_running_loop().call_exception_handler({"message": "of a callback"})

        loop.run(complain(), 5)
        assert ["of a callback" in line for line in log.errors] == [True]
    finally:
        log.end()
        loop.stop()


def test_levels_are_the_lowest_wanted_and_then_as_before() -> None:
    before = [(each.level, list(each.handlers)) for each in map(logging.getLogger, ("gateway", "adapters"))]
    first = opened("info")
    second = opened("debug")
    GATEWAY.debug("fine")
    first.end()
    GATEWAY.info("still")
    second.end()
    second.end()
    GATEWAY.error("after")
    assert [len(first.lines), len(second.lines)] == [0, 2]
    after = [(each.level, list(each.handlers)) for each in map(logging.getLogger, ("gateway", "adapters"))]
    assert after == before


def test_no_secret_and_no_other_level() -> None:
    redactor = Redactor()
    redactor.learn("a-long-secret")
    log = Log("info", redactor)
    GATEWAY.info("key a-long-secret sent")
    log.end()
    assert "a-long-secret" not in log.lines[0]
    with pytest.raises(ValueError, match="log is debug info warning error critical"):
        Log("loud", redactor)
