"""What all tests share: the published vectors' folder, no skip that goes unnoticed, what coverage.py saw,
that a test which measures time has the machine for itself, and a heap that is quickly looked through.
"""

import fcntl
import gc
import os
import sys
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import settings

ROOT = Path(__file__).parents[1]
VECTORS = Path(os.environ.get("HEADRACE_VECTORS") or ROOT.parent / "shared" / "vectors")

settings.register_profile("house", deadline=None, print_blob=True)
settings.load_profile("house")

_skipped: list[str] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        _skipped.append(f"{report.nodeid}: {reason}")


def pytest_collectreport(report: pytest.CollectReport) -> None:
    if report.skipped:
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        _skipped.append(f"{report.nodeid}: {reason}")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """HEADRACE_SKIPS=none fails a run with any skip; =vectors lets only missing vectors be skipped, and
    =vectors,namespaces what needs namespaces, too.
    """
    said = os.environ.get("HEADRACE_SKIPS", "")
    allowed = set(said.split(",")) - {"none"}
    bad = [each for each in _skipped if said and not any(word in each for word in allowed)]
    if bad:
        print("\nSkipped, and that is a failure here:\n  " + "\n  ".join(bad))
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    if (
        "coverage" in sys.modules
    ):  # a worker of xdist has ten seconds to end, and then loses what is not saved
        measuring = sys.modules["coverage"].Coverage.current()
        if measuring is not None:
            measuring.save()


def pytest_collection_finish() -> None:
    """Twenty thousand tests, which stay: the garbage collector is not to look at them each time."""
    gc.collect()
    gc.freeze()


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "alone: it measures time, and no other test is to run beside it")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, object, object]:
    if "PYTEST_XDIST_WORKER" not in os.environ:
        return (yield)
    shared = Path(item.config.getoption("basetemp")).parent  # each worker's own folder is in the run's
    with _turn(shared, alone=item.get_closest_marker("alone") is not None):
        return (yield)


@contextmanager
def _turn(folder: Path, *, alone: bool) -> Iterator[None]:
    """Among the workers of pytest-xdist: beside others, or alone, once those that run have ended. Whoever
    comes later than one who wants to be alone waits behind it, so that its turn comes (flock(2)).
    """
    with (folder / "door").open("ab") as at_door, (folder / "room").open("ab") as in_room:
        fcntl.flock(at_door, fcntl.LOCK_EX)
        fcntl.flock(in_room, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)
        fcntl.flock(at_door, fcntl.LOCK_UN)
        yield
