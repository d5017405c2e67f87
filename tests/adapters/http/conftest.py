"""An adapter or a client for one test, closed afterwards."""

from collections.abc import AsyncIterator

import pytest

from adapters.http.adapter import HttpAdapter
from adapters.http.client import HttpClient


@pytest.fixture
async def adapter() -> AsyncIterator[HttpAdapter]:
    made = HttpAdapter()
    yield made
    await made.aclose()


@pytest.fixture
async def client() -> AsyncIterator[HttpClient]:
    made = HttpClient()
    yield made
    await made.aclose()
