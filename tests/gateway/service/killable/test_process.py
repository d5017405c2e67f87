"""A process that lays documents out, and what it is not given."""

import os
import resource
from contextlib import closing
from pathlib import Path

import pytest

from adapters import limits
from adapters.errors import WrongDocument
from gateway.extract.pipeline import extract
from gateway.extract.plan import Style
from gateway.service.killable.parcels import Task
from gateway.service.killable.process import Process
from gateway.session.picking import pick_plan

PLAN = pick_plan("$[*]", ["$.a:3"])


def task(body: bytes) -> Task:
    return Task(body, "application/json", None, PLAN, Style())


def test_as_it_is_done_here() -> None:
    body = b'[{"a": "one"}, {"a": "longer"}, {"b": 1}]'
    with closing(Process()) as process:
        for _ in range(2):
            assert process.ask(task(body)) == extract(body, "application/json", None, PLAN, Style())
            with pytest.raises(WrongDocument):
                process.ask(task(b"[}"))


def test_what_it_is_not_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """No secret of the environment (CWE-526), no descriptor, no core dump, and an end of memory."""
    monkeypatch.setenv("CLUB_SECRET", "planted")
    with Path(os.devnull).open("rb") as held, closing(Process()) as process:
        os.set_inheritable(held.fileno(), True)
        process.ask(task(b"[]"))
        root = Path(f"/proc/{process.number}")
        assert b"planted" not in (root / "environ").read_bytes()
        assert {each.name for each in (root / "fd").iterdir()} == {"0", "1", "2"}
        assert resource.prlimit(process.number, resource.RLIMIT_CORE) == (
            0,
            resource.prlimit(0, resource.RLIMIT_CORE)[1],
        )
        assert resource.prlimit(process.number, resource.RLIMIT_AS)[0] == limits.WORK_MEMORY_BYTES


def test_one_that_is_killed_has_ended() -> None:
    with closing(Process()) as process:
        process.ask(task(b"[]"))
        process.kill()
        with pytest.raises((OSError, ValueError)):
            process.ask(task(b"[]" + b" " * 100_000))
