"""An adapter and a scripted server for one test, closed afterwards."""

from collections.abc import AsyncIterator

import pytest

from adapters.ftp.adapter import FtpAdapter
from tests.adapters.ftp.doing import OLD
from tests.adapters.ftp.scripted import Scripted, scripted


@pytest.fixture
async def adapter() -> AsyncIterator[FtpAdapter]:
    made = FtpAdapter()
    yield made
    await made.aclose()


@pytest.fixture
async def server() -> AsyncIterator[Scripted]:
    async with scripted() as made:
        made.documents[b"/pub/old"] = OLD
        yield made
