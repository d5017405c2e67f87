"""The demo as it was recorded: where the recording is, and the invented names of its servers (RFC 2606)."""

from pathlib import Path
from typing import Final

from demo_site.areas.running import Areas
from demo_site.catalogue import demo_catalogue

RECORDING: Final = Path(__file__).with_name("recording")
FAULTS: Final = Path(__file__).with_name("faults.toml")
"""A plan of faults on cue for it."""
HTTP_URL: Final = "http://gullmarrow.example"
HTTPS_URL: Final = "https://gullmarrow.example"
AREAS: Final = Areas(
    quay="ftp://quay.gullmarrow.example/",
    ledger="dav://ledger.gullmarrow.example/",
    shelf="file:///gullmarrow/shelf/",
    station="tcp://station.gullmarrow.example:2323",
)


def offline_catalogue(*, port: int = 0, state: str | Path = "headrace-state") -> str:
    """The demo's catalogue for a gateway that plays the recording; its certificate file is not needed."""
    return demo_catalogue(HTTP_URL, HTTPS_URL, "demo-ca.pem", areas=AREAS, port=port, state=state)
