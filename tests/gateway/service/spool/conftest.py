"""A spool on disk that needs no reserve."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters import limits
from gateway.service.spool.spool import Spool


@pytest.fixture(autouse=True)
def no_reserve(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that the tests run on a machine whose disk is nearly full."""
    monkeypatch.setattr(limits, "SPOOL_RESERVE_BYTES", 0)


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    made = Spool(tmp_path / "spool")
    yield made
    made.close()
