"""Answers to one request come in their order."""

from datetime import timedelta

from adapters.recorded.exchange import Exchange
from adapters.recorded.turns import Turns
from tests.adapters.recorded.exchanges import NOON, got


def kept(*times: int) -> list[Exchange]:
    """Exchanges that came so often in a row, told apart by their seconds."""
    return [
        Exchange(made.asked, made.reply, NOON + timedelta(seconds=number), times=each)
        for number, each in enumerate(times)
        for made in [got("http://a.example/")]
    ]


def seconds(turns: Turns, fit: list[Exchange], rounds: int, kind: str = "") -> list[int]:
    return [(turns.next(fit, kind).at - NOON).seconds for _ in range(rounds)]


def test_each_as_often_as_it_came_and_the_last_for_ever() -> None:
    assert seconds(Turns(), kept(2, 1, 1), 6) == [0, 0, 1, 2, 2, 2]


def test_another_kind_and_other_exchanges_begin_at_the_first() -> None:
    turns, fit = Turns(), kept(1, 1)
    assert seconds(turns, fit, 2) == [0, 1]
    assert seconds(turns, fit, 2, "bytes=0-4") == [0, 1]
    assert seconds(turns, kept(1, 1), 2) == [0, 1]
    assert seconds(turns, fit, 1) == [1]
