"""Gateways with a reserved port, and whoever calls there."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from gateway.testing.stage import Stage
from tests.gateway.service.callers.callers import Reserved


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


@pytest.fixture
def reserve(stage: Stage) -> Iterator[Callable[..., Reserved]]:
    with ExitStack() as made:
        yield lambda keys="", more="": made.enter_context(closing(Reserved(stage, keys, more)))
