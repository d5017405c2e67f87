"""A folder at a counter, and one beside the terminal program that calls there."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.testing.stage import Stage


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "shelf"
    folder.mkdir()
    return folder


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """The old machine's own disk."""
    folder = tmp_path / "mine"
    folder.mkdir()
    return folder
