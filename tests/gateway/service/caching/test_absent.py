"""What is known not to be on disk, and for how long."""

from adapters import limits
from gateway.service.caching.absent import Absent


class Clock:
    now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


def test_believed_for_a_while_only() -> None:
    clock = Clock()
    absent = Absent(clock)
    assert not absent.get("a")
    absent.note("a")
    clock.now += limits.ABSENT_SECONDS - 1
    assert absent.get("a")
    clock.now += 1
    assert not absent.get("a")


def test_a_written_copy_or_a_clock_set_back_ends_it() -> None:
    clock = Clock()
    absent = Absent(clock)
    absent.note("a")
    absent.note("b")
    absent.clear("a")
    absent.clear("never noted")
    assert [absent.get("a"), absent.get("b")] == [False, True]
    clock.now -= 10
    assert not absent.get("b")


def test_the_oldest_are_forgotten_first() -> None:
    absent = Absent(Clock())
    for number in range(limits.ABSENT_KEYS + 1):
        absent.note(str(number))
    assert not absent.get("0")
    assert absent.get("1")
