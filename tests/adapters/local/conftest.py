"""Fixtures for the local folder's tests."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.adapters.local.stands import LocalStand


@pytest.fixture
async def stand(tmp_path: Path) -> AsyncIterator[LocalStand]:
    made = LocalStand(tmp_path)
    yield made
    await made.adapter.aclose()
