"""What the clients are run against: `headrace serve` on the demo catalogue, and the demo site behind it."""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import gateway
from demo_site.areas.running import DemoAreas
from demo_site.catalogue import demo_catalogue
from demo_site.servers import DemoServers
from tests.clients.listings.shapes import SHAPES

ROOT = Path(gateway.__file__).parents[1]
PATIENCE = 60  # seconds for a clean stop


@pytest.fixture(scope="module")
def demo_servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoServers]:
    """The demo site on loopback."""
    with DemoServers(tmp_path_factory.mktemp("site")) as servers:
        yield servers


@pytest.fixture(scope="module")
def demo_areas(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoAreas]:
    """The town's folders, by FTP, by WebDAV and on disk."""
    with DemoAreas(tmp_path_factory.mktemp("areas")) as areas:
        yield areas


@pytest.fixture(scope="module")
def gateway_config(
    demo_servers: DemoServers, demo_areas: DemoAreas, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The demo catalogue, and sources of other shapes."""
    folder = tmp_path_factory.mktemp("gateway")
    config = folder / "headrace.toml"
    text = demo_catalogue(
        demo_servers.http_url,
        demo_servers.https_url,
        demo_servers.ca_file,
        areas=demo_areas.urls,
        state=folder / "state",
    )
    config.write_text(text + SHAPES, encoding="utf-8")
    return config


@pytest.fixture(scope="module")
def gateway_port(gateway_config: Path) -> Iterator[int]:
    """The loopback port of a running gateway, in a process of its own."""
    command = [sys.executable, "-m", "gateway.commands.main", "serve", "--config", str(gateway_config)]
    with subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, text=True) as served:
        assert served.stderr is not None
        ready = served.stderr.readline()
        found = re.fullmatch(r"headrace: listening on 127\.0\.0\.1:(\d+) \(plain\)\n", ready)
        if found:
            yield int(found[1])
        served.terminate()
        _, rest = served.communicate(timeout=PATIENCE)
    assert found, ready + rest
    assert served.returncode == 0, rest
