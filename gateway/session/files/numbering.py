"""`#n` -> Ref: entry n of the last LIST, or link n of the last TEXT (CONTRACT section 3)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from adapters.errors import NotAllowed, NotThere, WrongMoment
from adapters.files import Entry, Kind, quoted
from gateway.catalogue.calling.targets import Ref, current, inside, read_ref
from gateway.catalogue.model import Catalogue
from gateway.session.memory import ENTRY_BYTES, LINK_BYTES, Weights


class Numbered(Protocol):
    """What the numbers of the last LIST or TEXT stand for."""

    @property
    def kept(self) -> Weights:
        """What is kept in memory for that."""
        ...

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """The ref of `number`, from 1. NotThere for none; NotAllowed for a URL that may not be typed."""
        ...

    def whole(self, catalogue: Catalogue, number: int) -> str:
        """The same to be shown: a URL too that may not be used, unless it is one of a file."""
        ...


class NoNumbers:
    """After a LIST that failed: a program that looks at no code must not go on in another folder. `why` is
    what is said of that.
    """

    kept: Weights = ()

    def __init__(self, why: str = "The last LIST failed; LIST again") -> None:
        self._why = why

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """There is none."""
        raise WrongMoment(self._why)

    def whole(self, catalogue: Catalogue, number: int) -> str:
        """There is none."""
        return self.ref(catalogue, number).whole


@dataclass(frozen=True, slots=True)
class NumberedEntries:
    """The entries of a folder in the order shown. Names are theirs byte for byte: nothing reads them anew."""

    folder: Ref
    entries: Sequence[Entry]

    @property
    def kept(self) -> Weights:
        """All entries."""
        return ((self.entries, len(self.entries) * ENTRY_BYTES),)

    def _entry(self, number: int) -> Entry:
        if not 1 <= number <= len(self.entries):
            raise NotThere(f"No entry {number}; there are {len(self.entries)}")
        return self.entries[number - 1]

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """An entry of the folder; a folder's ref ends in a slash, so that it can be a BASE."""
        entry, folder = self._entry(number), current(catalogue, self.folder)
        if entry.url is None:
            return folder.below(quoted(entry.name) + ("/" if entry.kind is Kind.FOLDER else ""))
        try:
            return inside(catalogue, entry.url, folder.place)
        except NotAllowed as error:
            raise _leaving(number, folder.place is not None, error) from error

    def whole(self, catalogue: Catalogue, number: int) -> str:
        """Where an entry really is."""
        url = self._entry(number).url
        try:
            return self.ref(catalogue, number).whole
        except NotAllowed:
            if url is None or not _showable(url):
                raise
            return url


@dataclass(frozen=True, slots=True)
class NumberedLinks:
    """The links of a document: absolute URLs, or whole refs. `placed`: the document is in a place."""

    links: Sequence[str]
    placed: bool = False

    @property
    def kept(self) -> Weights:
        """All links."""
        return ((self.links, len(self.links) * LINK_BYTES + sum(map(len, self.links))),)

    def _link(self, number: int) -> str:
        if not 1 <= number <= len(self.links):
            raise NotThere(f"No link {number}; there are {len(self.links)}")
        return self.links[number - 1]

    def ref(self, catalogue: Catalogue, number: int) -> Ref:
        """What a link leads to."""
        link = self._link(number)
        try:
            return read_ref(catalogue, link)
        except NotAllowed as error:
            raise _leaving(number, self.placed, error) from error

    def whole(self, catalogue: Catalogue, number: int) -> str:
        """What a link leads to, as the document has it where it may not be used."""
        link = self._link(number)
        try:
            return self.ref(catalogue, number).whole
        except NotAllowed:
            if not _showable(link):
                raise
            return link


def _showable(url: str) -> bool:
    """A file's URL would show where a place is on the gateway's own disk."""
    return url.isprintable() and url.partition(":")[0].lower() != "file"


def _leaving(number: int, placed: bool, error: NotAllowed) -> NotAllowed:
    """What is said of a link out of its place; from a page that is in none, why it may not be used."""
    if not placed:
        return NotAllowed(error.sentence)
    see = "see NAME" if number <= 9 else "NAME"  # 40 columns
    return NotAllowed(f"That link leaves the place; {see} #{number}")
