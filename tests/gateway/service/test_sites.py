"""The folder of recordings that a gateway works with."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from adapters.redaction import Redactor
from adapters.registry import SCHEMES
from gateway.catalogue.reading import load_catalogue
from gateway.service.clocks import CLOCK
from gateway.service.sites import Mode, Site, credential_names

SOURCE = """
[source.{name}]
url = "https://x.example/"
auth = {{ {way}, secret = "env:K" }}
[[source.{name}.field]]
name = "N"
width = 3
"""


def test_names_that_secrets_travel_under() -> None:
    ways = ('header = "X-Harbour"', 'query = "pier"', 'basic = "clerk"', "bearer = true")
    text = "".join(SOURCE.format(name=f"s{index}", way=way) for index, way in enumerate(ways))
    catalogue = load_catalogue(text, "x.toml", lambda _: "secret", lambda _: None, SCHEMES)
    assert set(credential_names(catalogue)) == {"X-Harbour", "pier"}


@pytest.mark.parametrize(
    ("mode", "offline", "records"),
    [(Mode.RECORD, False, True), (Mode.PLAY, True, False), (Mode.ADD, True, True)],
)
def test_what_a_mode_means(tmp_path: Path, mode: Mode, offline: bool, records: bool) -> None:
    hiding = Hiding(Redactor())
    site = Site(Folder(tmp_path, hiding, lambda: datetime.now(UTC)), hiding, mode, CLOCK)
    assert (site.offline, site.records) == (offline, records)
