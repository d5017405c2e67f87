from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.testing.stage import Stage


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """What the fixtures are made of, without pytest in between."""
    with Stage(Path(__file__).parent, lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made
