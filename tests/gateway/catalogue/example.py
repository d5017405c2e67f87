"""The complete example catalogue of these tests, loaded once."""

from collections.abc import Mapping
from pathlib import Path

from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue

TEXT = (Path(__file__).parent / "harbour.toml").read_text(encoding="utf-8")
SECRETS: Mapping[str, str] = {
    "env:CLUB": "club-secret",
    "env:TIDES_KEY": "k-1234",
    "file:secrets/score": "s-99\n",
}


def example() -> Catalogue:
    """The catalogue of harbour.toml."""
    return load_catalogue(TEXT, "harbour.toml", SECRETS.get)
