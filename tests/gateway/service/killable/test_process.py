"""A process that lays documents out, and what it is not given."""

import os
import resource
from collections.abc import Iterator
from contextlib import closing, contextmanager
from io import BytesIO, TextIOWrapper
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import WrongDocument
from gateway.extract.pipeline import extract
from gateway.extract.plan import Style
from gateway.service.killable import process
from gateway.service.killable.parcels import Task, packed, read_frame, sheet_of
from gateway.service.killable.process import Process, main
from gateway.session.picking import pick_plan

PLAN = pick_plan("$[*]", ["$.a:3"])


@contextmanager
def worker() -> Iterator[Process]:
    with closing(Process()) as made:
        made.begin()
        yield made


def task(body: bytes) -> Task:
    return Task(body, "application/json", None, PLAN, Style())


def test_as_it_is_done_here() -> None:
    body = b'[{"a": "one"}, {"a": "longer"}, {"b": 1}]'
    with worker() as made:
        for _ in range(2):
            assert made.ask(task(body)) == extract(body, "application/json", None, PLAN, Style())
            with pytest.raises(WrongDocument):
                made.ask(task(b"[}"))


def test_what_it_is_not_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """No secret of the environment (CWE-526), no descriptor, no core dump, and an end of memory."""
    monkeypatch.setenv("CLUB_SECRET", "planted")
    with Path(os.devnull).open("rb") as held, worker() as made:
        os.set_inheritable(held.fileno(), True)
        made.ask(task(b"[]"))
        root = Path(f"/proc/{made.number}")
        assert b"planted" not in (root / "environ").read_bytes()
        assert {each.name for each in (root / "fd").iterdir()} == {"0", "1", "2"}
        assert resource.prlimit(made.number, resource.RLIMIT_CORE) == (
            0,
            resource.prlimit(0, resource.RLIMIT_CORE)[1],
        )
        assert resource.prlimit(made.number, resource.RLIMIT_AS)[0] == limits.WORK_MEMORY_BYTES


class Limits:
    """In place of the module `resource`: a process that has these hard limits, and what it gives itself."""

    RLIM_INFINITY, RLIMIT_AS, RLIMIT_CORE = resource.RLIM_INFINITY, resource.RLIMIT_AS, resource.RLIMIT_CORE

    def __init__(self, hard: int) -> None:
        self.hard = hard
        self.given: dict[int, tuple[int, int]] = {}

    def getrlimit(self, which: int) -> tuple[int, int]:
        return self.hard, self.hard

    def setrlimit(self, which: int, limits: tuple[int, int]) -> None:
        if which == self.RLIMIT_CORE and self.hard == 7:
            raise ValueError("not allowed")
        self.given[which] = limits


@pytest.mark.parametrize(
    ("hard", "memory", "core"),
    [(resource.RLIM_INFINITY, 1_000, 0), (2_000, 1_000, 0), (500, 500, 0), (7, 7, None), (None, None, None)],
)
def test_from_inside(
    hard: int | None, memory: int | None, core: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the process does, done here, up to the end of its input: a limit that cannot be set stays."""
    given = None if hard is None else Limits(hard)
    monkeypatch.setattr(process, "resource", given)
    source = BytesIO(packed(task(b'[{"a": "one"}]')) + packed(task(b"[}")))
    target = BytesIO()
    monkeypatch.setattr("sys.stdin", TextIOWrapper(source))
    monkeypatch.setattr("sys.stdout", TextIOWrapper(target))
    main(1_000)
    target.seek(0)
    assert read_frame(target, 0) == b""  # it is there
    sheet, fault = (read_frame(target, 1_000) for _ in range(2))
    assert sheet is not None
    assert fault is not None
    assert sheet_of(sheet) == extract(b'[{"a": "one"}]', "application/json", None, PLAN, Style())
    with pytest.raises(WrongDocument):
        sheet_of(fault)
    wanted = {resource.RLIMIT_AS: (memory, hard), resource.RLIMIT_CORE: (core, hard)}
    assert (given.given if given else {}) == {
        which: pair for which, pair in wanted.items() if pair[0] is not None
    }


def test_one_that_is_killed_before_it_is_there_has_ended() -> None:
    with closing(Process()) as made:
        made.kill()
        with pytest.raises(ValueError, match="ended"):
            made.begin()


def test_one_that_is_killed_has_ended() -> None:
    with worker() as made:
        made.ask(task(b"[]"))
        made.kill()
        with pytest.raises((OSError, ValueError)):
            made.ask(task(b"[]" + b" " * 100_000))
