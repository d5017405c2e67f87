"""Origins and files of a running demo -> the demo catalogue's TOML text."""

from pathlib import Path
from typing import Final

from demo_site.areas.running import Areas
from demo_site.site import KEYS

TEMPLATE: Final = Path(__file__).with_name("catalogue.toml")
PLACES_TEMPLATE: Final = Path(__file__).with_name("places.toml")


def demo_catalogue(
    http_url: str,
    https_url: str,
    ca_file: str | Path,
    *,
    areas: Areas | None = None,
    port: int = 0,
    state: str | Path = "headrace-state",
) -> str:
    """The catalogue for the site at these origins (scheme, host and port, no trailing slash).

    `areas` are the folders that files can be stored in; without them the catalogue has no places for that.
    `ca_file` is the PEM file of the authority behind `https_url`; `port` is where the gateway's listener
    goes, 0 for a free one; `state` is the gateway's folder. Paths keep their meaning inside TOML's quotes,
    backslashes of some systems included (TOML 1.0, basic strings).
    """
    parts = {
        "<<http>>": _quoted(http_url),
        "<<https>>": _quoted(https_url),
        "<<ca>>": _quoted(str(ca_file)),
        "<<keys>>": _quoted(KEYS.as_posix()),
        "<<port>>": str(port),
        "<<state>>": _quoted(str(state)),
    }
    text = TEMPLATE.read_text("utf-8")
    if areas is not None:
        text += PLACES_TEMPLATE.read_text("utf-8")
        parts |= {
            "<<quay>>": _quoted(areas.quay),
            "<<ledger>>": _quoted(areas.ledger),
            "<<shelf>>": _quoted(areas.shelf),
            "<<station>>": _quoted(areas.station),
        }
    for mark, value in parts.items():
        text = text.replace(mark, value)
    return text


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')
