"""`#n` -> Ref: entry n of the last LIST, or link n of the last TEXT (CONTRACT section 3)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from adapters.errors import NotThere
from adapters.files import Entry, Kind, quoted
from gateway.catalogue.model import Catalogue
from gateway.catalogue.targets import Ref, current, inside, read_ref


class Numbered(Protocol):
    """What the numbers of the last LIST or TEXT stand for."""

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """The ref of `number`, from 1. NotThere for none; NotAllowed for a URL that may not be typed."""
        ...


@dataclass(frozen=True, slots=True)
class NumberedEntries:
    """The entries of a folder in the order shown. Names are theirs byte for byte: nothing reads them anew."""

    folder: Ref
    entries: Sequence[Entry]

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """An entry of the folder; a folder's ref ends in a slash, so that it can be a BASE."""
        if not 1 <= number <= len(self.entries):
            raise NotThere(f"No entry {number}; there are {len(self.entries)}")
        folder, entry = current(catalogue, self.folder), self.entries[number - 1]
        if entry.url is not None:
            return inside(catalogue, entry.url, folder.place)
        return folder.below(quoted(entry.name) + ("/" if entry.kind is Kind.FOLDER else ""))


@dataclass(frozen=True, slots=True)
class NumberedLinks:
    """The links of a document: absolute URLs, or whole refs."""

    links: Sequence[str]

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """What a link leads to."""
        if not 1 <= number <= len(self.links):
            raise NotThere(f"No link {number}; there are {len(self.links)}")
        return read_ref(catalogue, self.links[number - 1])
