"""Laid-out answers kept ready: weighed, and forgotten oldest first."""

import pytest

from adapters import limits
from adapters.port import Call
from gateway.catalogue.model import Source
from gateway.extract.plan import Field, Plan, Record, Sheet, Style
from gateway.service.hot import Hot, HotAnswers, HotKey

SOURCE = Source("A", "https://far.example/", Plan((Field("A", 10),)))


def key(number: int) -> HotKey:
    return number, (), Style()


def sheet(records: int) -> Sheet:
    return Sheet(10, (Record("x" * 10),) * records)


def filled(answers: HotAnswers, number: int, records: int) -> None:
    answers.add(key(number), Hot(SOURCE, Call("https://far.example/"), "key"))
    answers.lay(key(number), 1, sheet(records))


def test_the_latest_used_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "HOT_ANSWERS", 2)
    answers = HotAnswers()
    filled(answers, 1, 1)
    filled(answers, 2, 1)
    assert answers.get(key(1)) is not None
    filled(answers, 3, 1)
    assert answers.get(key(2)) is None
    assert answers.get(key(1)) is not None


def test_all_together_weigh_no_more_than_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SHEETS_BYTES", 1_000)
    answers = HotAnswers()
    for number in range(30):
        filled(answers, number, 20)
        assert answers.weight <= 1_000
    assert len(answers) == 5
    answers.lay(key(29), 2, sheet(1))
    assert answers.weight == 4 * 200 + 10
    answers.clear()
    assert (len(answers), answers.weight) == (0, 0)


def test_one_that_is_too_large_is_laid_out_again_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SHEET_BYTES", 100)
    answers = HotAnswers()
    filled(answers, 1, 11)
    hot = answers.get(key(1))
    assert hot is not None
    assert (hot.sheet, answers.weight) == (None, 0)
    answers.lay(key(7), 1, sheet(1))  # forgotten meanwhile
    assert answers.get(key(7)) is None


def test_a_large_one_is_shared_by_those_who_read_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SHEET_BYTES", 100)
    answers, read = HotAnswers(), sheet(11)
    answers.add(key(1), Hot(SOURCE, Call("https://far.example/"), "key"))
    answers.lay(key(1), 5, read)
    assert answers.in_use(key(1), 5) is read
    assert answers.in_use(key(1), 6) is None
    del read
    assert answers.in_use(key(1), 5) is None
