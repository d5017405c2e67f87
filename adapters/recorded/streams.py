"""A call on an offline day -> NotRecorded: what passes over an open line is not kept."""

from typing import NoReturn

from adapters.errors import NotRecorded
from adapters.port import Call
from adapters.streams import Calling


class NoStreams:
    """Stands in for an adapter of streams where no far server is to be reached."""

    async def open(self, calling: Calling, seconds: float) -> NoReturn:
        """NotRecorded."""
        raise NotRecorded("Offline; streams are not recorded")

    async def fetch(self, call: Call, seconds: float) -> NoReturn:
        """NotRecorded."""
        raise NotRecorded("Offline; streams are not recorded")

    async def aclose(self) -> None:
        """There is nothing to close."""
