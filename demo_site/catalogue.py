"""Origins and files of a running demo -> the demo catalogue's TOML text."""

from pathlib import Path
from typing import Final

from demo_site.site import KEYS

TEMPLATE: Final = Path(__file__).with_name("catalogue.toml")


def demo_catalogue(
    http_url: str,
    https_url: str,
    ca_file: str | Path,
    *,
    port: int = 0,
    state: str | Path = "headrace-state",
) -> str:
    """The catalogue for the site at these origins (scheme, host and port, no trailing slash).

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
    for mark, value in parts.items():
        text = text.replace(mark, value)
    return text


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')
