"""What all tests share: the published vectors' folder, no skip that goes unnoticed, what coverage.py saw,
that a test which measures time has the machine for itself, and a heap that is quickly looked through.
"""

import fcntl
import gc
import os
import sys
import warnings
from collections.abc import Generator
from contextlib import suppress
from importlib import import_module
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


def pytest_sessionstart(session: pytest.Session) -> None:
    """Python and pytest keep what they compile of a module. The workers of pytest-xdist begin with different
    modules, so that not each of them has to compile all.
    """
    name, count = (os.environ.get(f"PYTEST_XDIST_WORKER{key}", "") for key in ("", "_COUNT"))
    if name and session.config.args == session.config.getini("testpaths"):
        modules = sorted(Path(__file__).parent.glob("**/test_*.py"))
        for path in modules[int(name.removeprefix("gw")) :: int(count)]:
            with suppress(Exception), warnings.catch_warnings():  # it is told of in its turn
                warnings.simplefilter("error")
                import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The house's own tests first: one of them takes long, and nobody is to wait for it at the end."""
    items.sort(key=lambda item: item.path.name != "test_house.py")


def pytest_collection_finish() -> None:
    """Twenty thousand tests, which stay: the garbage collector is not to look at them each time."""
    gc.collect()
    gc.freeze()


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "alone: it measures time, and no other test is to run beside it")


class _Turns:
    """Among the workers of pytest-xdist: beside others, or alone, once those that run have ended. Whoever
    comes later than one who wants to be alone waits behind it, so that its turn comes (flock(2)).
    """

    def __init__(self, folder: Path) -> None:
        self._door, self._room = ((folder / name).open("ab") for name in ("door", "room"))
        self._alone = False

    def begin(self, *, alone: bool) -> None:
        """Wait for the turn."""
        if alone and self._alone:
            return
        fcntl.flock(self._door, fcntl.LOCK_EX)
        fcntl.flock(self._room, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)
        fcntl.flock(self._door, fcntl.LOCK_UN)
        self._alone = alone

    def close(self) -> None:
        """No more tests."""
        self._door.close()
        self._room.close()

    def end(self, *, alone_next: bool) -> None:
        """The turn is over; but one test after another that wants to be alone has but one."""
        if not (self._alone and alone_next):
            fcntl.flock(self._room, fcntl.LOCK_UN)
            self._alone = False


_turns: list[_Turns] = []


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(
    item: pytest.Item, nextitem: pytest.Item | None
) -> Generator[None, object, object]:
    if "PYTEST_XDIST_WORKER" not in os.environ:
        return (yield)
    if not _turns:  # each worker's own folder is in the run's
        _turns.append(_Turns(Path(item.config.getoption("basetemp")).parent))
    _turns[0].begin(alone=_alone(item))
    try:
        return (yield)
    finally:
        _turns[0].end(alone_next=nextitem is not None and _alone(nextitem))


def pytest_unconfigure() -> None:
    while _turns:
        _turns.pop().close()


def _alone(item: pytest.Item) -> bool:
    return item.get_closest_marker("alone") is not None
