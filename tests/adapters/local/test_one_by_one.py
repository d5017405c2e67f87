"""Turns of threads: one at a time while each is quick, and nobody waits long for one that hangs."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from adapters.local.one_by_one import OneByOne


def test_quick_work_is_done_one_by_one() -> None:
    turns, there, most = OneByOne(30.0), 0, 0

    def work(_: int) -> None:
        nonlocal there, most
        with turns.turn():
            there += 1
            most = max(most, there)
            time.sleep(0.002)
            there -= 1

    with ThreadPoolExecutor(8) as pool:
        assert len(list(pool.map(work, range(40)))) == 40
    assert most == 1


def test_what_hangs_holds_up_the_others_once() -> None:
    """And its end, when it comes, does not make room beside the one that has the turn since."""
    turns, hung, go, second_has_it, second_goes = OneByOne(0.2), *(threading.Event() for _ in range(4))
    order: list[str] = []

    def hanging() -> None:
        with turns.turn():
            hung.set()
            go.wait(20)
        order.append("the hung one")

    def second() -> None:
        with turns.turn():
            second_has_it.set()
            second_goes.wait(20)
            order.append("the second")

    def third() -> None:
        with turns.turn():
            order.append("the third")

    with ThreadPoolExecutor(3) as pool:
        first = pool.submit(hanging)
        assert hung.wait(20)
        began = time.monotonic()
        others = [pool.submit(second)]
        assert second_has_it.wait(20)
        assert 0.2 <= time.monotonic() - began < 10
        turns._patience = 30.0
        others.append(pool.submit(third))
        go.set()
        first.result(20)
        time.sleep(0.1)
        assert order == ["the hung one"]
        second_goes.set()
        for each in others:
            each.result(20)
    assert order == ["the hung one", "the second", "the third"]


def test_what_fails_keeps_no_turn() -> None:
    turns = OneByOne(30.0)
    with pytest.raises(OSError, match="gone"), turns.turn():
        raise OSError("gone")
    began = time.monotonic()
    with turns.turn():
        assert time.monotonic() - began < 10
