import time
from pathlib import Path

import pytest

from gateway.testing.gateways import GatewayErrors
from gateway.testing.stage import Stage
from tests.gateway.testing.harbour import CATALOGUE, ORIGIN


def test_it_ends_at_once_whatever_still_waits(tmp_path_factory: pytest.TempPathFactory) -> None:
    """`wait` is 30 seconds here, and the far server never answers."""
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as stage:
        far = stage.upstreams()
        far.on("/mole.json").silent()
        far.on("/book").silent()
        gateway = stage.gateways(CATALOGUE, instead={ORIGIN: far.url})
        stage.clients(gateway).send("ASK TIDES mole")
        far.wait_for(1)
        telling = stage.clients(gateway)
        telling.send("TELL BOOK")
        telling.reply()
        telling.put(b">a line\r.\r")
        far.wait_for(2)
        began = time.monotonic()
    assert time.monotonic() - began < 3


def test_everything_ends_though_one_part_fails(tmp_path_factory: pytest.TempPathFactory) -> None:
    with pytest.raises(GatewayErrors), Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as stage:
        far = stage.upstreams()
        gateways = [stage.gateways(CATALOGUE), stage.gateways(CATALOGUE)]
        client = stage.clients(gateways[0])
        gateways[1]._log.errors.append("an error")
    with pytest.raises(AssertionError):
        client.ask("NOOP")
    with pytest.raises(OSError, match="refused"):
        stage.clients(gateways[0])
    assert far.count() == 0
