"""What the moments are judged by: each kind of loss is seen."""

from collections import Counter

import pytest

from gateway.service.spool.spool import JobKind
from tests.survival.told import Document, Told, Waiting

JOB = Waiting(1, JobKind.STORE, b"two", doubtful=False)


def document(*tries: tuple[bytes, Told], adds: bool = False, before: bytes | None = b"old") -> Document:
    made = Document("quay:a", adds, before)
    for body, told in tries:
        made.begin(body).told = told
    return made


@pytest.mark.parametrize(
    ("tries", "far", "waiting", "found"),
    [
        ([(b"one", Told.DONE)], b"one", [], {"delivered": 1}),
        ([(b"one", Told.DONE), (b"two", Told.OPEN)], b"two", [], {"delivered": 1}),
        ([(b"one", Told.DONE), (b"two", Told.OPEN)], b"one", [JOB], {"delivered": 1}),
        ([(b"two", Told.KEPT)], b"old", [JOB], {"spooled": 1}),
        ([(b"one", Told.BEGUN), (b"two", Told.KEPT)], b"old", [JOB], {"spooled": 2}),
        ([(b"two", Told.BEGUN)], b"two", [], {"delivered": 1}),
        ([(b"two", Told.REFUSED), (b"one", Told.OPEN)], b"old", [], {}),
        ([(b"two", Told.DOUBTFUL)], b"two", [], {}),
    ],
)
def test_promises_kept(
    tries: list[tuple[bytes, Told]], far: bytes, waiting: list[Waiting], found: dict[str, int]
) -> None:
    assert +document(*tries).check(far, waiting) == Counter(found)


@pytest.mark.parametrize(
    ("tries", "far", "waiting", "why"),
    [
        ([(b"one", Told.DONE)], b"old", [], "250 for"),
        ([(b"one", Told.DONE)], None, [], "neither old nor new"),
        ([(b"one", Told.DONE), (b"two", Told.DONE)], b"one", [], "250 for"),
        ([(b"one", Told.OPEN)], b"on", [], "neither old nor new"),
        ([(b"two", Told.KEPT)], b"old", [], "and lost"),
        ([(b"two", Told.BEGUN)], b"old", [], "and lost"),
        ([(b"two", Told.REFUSED)], b"two", [], "and done"),
        ([(b"one", Told.OPEN)], b"old", [JOB], "made up"),
    ],
)
def test_promises_broken(
    tries: list[tuple[bytes, Told]], far: bytes | None, waiting: list[Waiting], why: str
) -> None:
    with pytest.raises(AssertionError, match=why):
        document(*tries).check(far, waiting)


def test_what_is_added() -> None:
    tries = ((b"1\n", Told.DONE), (b"2\n", Told.BEGUN), (b"3\n", Told.DONE), (b"4\n", Told.OPEN))
    waiting = [Waiting(1, JobKind.APPEND, b"2\n", doubtful=False)]
    for far in (b"old\n1\n2\n3\n", b"old\n1\n3\n4\n2\n"):
        added = document(*tries, adds=True, before=b"old\n")
        assert added.check(far, ())["delivered"] == 3
    found = document(*tries, adds=True, before=b"old\n").check(b"old\n1\n3\n", waiting)
    assert found == {"delivered": 2, "spooled": 1}
    for far, why in (
        (b"old\n1\n3\n", "and lost"),
        (b"old\n1\n2\n", "not there in order"),
        (b"old\n3\n1\n2\n", "not there in order"),
        (b"old\n1\n2\n3\n3\n", "twice"),
        (b"old\n1\n2\n3\n4", "neither"),
        (b"1\n2\n3\n", "before is not"),
    ):
        with pytest.raises(AssertionError, match=why):
            document(*tries, adds=True, before=b"old\n").check(far, ())
