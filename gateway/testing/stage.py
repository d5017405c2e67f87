"""A test's folder -> all that the fixtures make, ended in the right order."""

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Self

from gateway.testing.clients.client import Clients
from gateway.testing.gateways import Gateways
from gateway.testing.sites import Sites
from gateway.testing.upstream.server import Upstreams


class Stage:
    """A context manager. `folder` is where relative paths count from; `scratch` makes a new temporary folder.

    At the end clients hang up first, then far servers go, so that no gateway waits for one, then gateways.
    What a gateway logged as an error is raised then, as `gateways.GatewayErrors`.
    """

    def __init__(self, folder: Path, scratch: Callable[[], Path]) -> None:
        self.sites = Sites(folder, scratch)
        self.gateways = Gateways(folder, scratch)
        self.upstreams = Upstreams(scratch)
        self.clients = Clients()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with ExitStack() as ending:  # the last one pushed ends first
            ending.callback(self.gateways.close)
            ending.callback(self.upstreams.close)
            ending.callback(self.clients.close)
