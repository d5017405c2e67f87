"""What all tests share: the published vectors' folder, no skip that goes unnoticed, what coverage.py saw."""

import os
import sys
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
