"""An adapter for one test, closed afterwards."""

from collections.abc import AsyncIterator

import pytest

from adapters.http.adapter import HttpAdapter


@pytest.fixture
async def adapter() -> AsyncIterator[HttpAdapter]:
    made = HttpAdapter()
    yield made
    await made.aclose()
