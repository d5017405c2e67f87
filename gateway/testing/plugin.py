"""What pytest loads (entry point `pytest11`) -> the fixtures `headrace_...`; it has no hooks and no options.

pytest imports this file in every project of an environment that has headrace in it: so it imports nothing of
the gateway before a test asks for a fixture.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from gateway.testing.clients.client import Clients
    from gateway.testing.gateways import Gateways
    from gateway.testing.sites import Sites
    from gateway.testing.stage import Stage
    from gateway.testing.upstream.server import Upstreams


@pytest.fixture
def _headrace_stage(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator["Stage"]:
    from gateway.testing.stage import Stage  # noqa: PLC0415 - the gateway is imported only where it is used

    with Stage(request.path.parent, lambda: tmp_path_factory.mktemp("headrace")) as stage:
        yield stage


@pytest.fixture
def headrace_gateway(_headrace_stage: "Stage") -> "Gateways":
    """headrace_gateway(CATALOGUE, instead={}, site=None, clock=None, ...) -> a running gateway."""
    return _headrace_stage.gateways


@pytest.fixture
def headrace_client(_headrace_stage: "Stage") -> "Clients":
    """headrace_client(gateway, profile="", bits_per_second=None, machine=None, ...) -> a line to it."""
    return _headrace_stage.clients


@pytest.fixture
def headrace_upstream(_headrace_stage: "Stage") -> "Upstreams":
    """headrace_upstream(certificate=None) -> a far server on loopback that answers, or fails, as told."""
    return _headrace_stage.upstreams


@pytest.fixture
def headrace_site(_headrace_stage: "Stage") -> "Sites":
    """headrace_site(FOLDER) -> a copy of recordings to play from; headrace_site() -> one to record into."""
    return _headrace_stage.sites
