"""The file at the top of a folder of recordings <-> what was hidden in them, and the format's version."""

from collections.abc import Iterable
from pathlib import Path
from typing import Final

import tomli_w

from adapters.recorded.tree.table import TextFault, toml_values

SITE: Final = "site.toml"
FORMAT: Final = 1
"""The version of the format that is written, and the newest that is read."""


def read_site(path: Path) -> frozenset[str]:
    """What was hidden. TextFault where the file is not of a version that is known."""
    site = toml_values(utf_8(path.read_bytes()))
    version, hidden = site.get("format"), site.get("hidden", [])
    if not isinstance(version, int) or version < 1:
        raise TextFault(["format: missing, or no number from 1 on"])
    if version > FORMAT:
        raise TextFault([f"format: {version} is newer than this program, which knows {FORMAT}"])
    if not isinstance(hidden, list) or not all(isinstance(each, str) for each in hidden):
        raise TextFault(["hidden: not a list of texts"])
    return frozenset(hidden)


def site_text(hidden: Iterable[str]) -> str:
    """The TOML text."""
    return tomli_w.dumps({"format": FORMAT, "hidden": sorted(hidden)})


def utf_8(data: bytes) -> str:
    """A TOML file's text (TOML 1.0: it is UTF-8). TextFault."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise TextFault([f"not UTF-8, from byte {error.start + 1} on"]) from error
