"""What `headrace doctor` looks at, and what it finds."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gateway.catalogue.model import Catalogue

SOON: Final = 30  # days
DAY: Final = 86_400


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to be done, or, where `caution` is set, to be thought of."""

    what: str
    why: str
    do: str
    caution: bool = False

    @property
    def line(self) -> str:
        """In one line."""
        return f"{'note' if self.caution else 'TO DO'}: {self.what}: {self.why}. {self.do}"


@dataclass(frozen=True, slots=True)
class Patient:
    """What is looked at: the catalogue, its folder, and the time in epoch seconds."""

    catalogue: Catalogue
    folder: Path
    now: float
