"""Ref -> the adapter that speaks its protocol, and its target there; 502 for what cannot be done."""

from collections.abc import Callable
from dataclasses import dataclass

from adapters.errors import NotAllowed, NotPossible, WrongMoment, WrongWords
from adapters.files import Ability, FileAdapter, Target
from gateway.catalogue.calling.targets import Ref, current, target_of
from gateway.catalogue.model import Catalogue


@dataclass(frozen=True, slots=True)
class Far:
    """One document or folder, and who can do something with it."""

    ref: Ref
    target: Target
    adapter: FileAdapter

    def can(self, ability: Ability) -> bool:
        """Whether all of `ability` is possible there."""
        return ability in self.adapter.abilities(self.target)

    @property
    def origin(self) -> str:
        """scheme://host:port for WHY; a folder of this computer has none to tell."""
        return "this gateway's disk" if self.target.url.startswith("file:") else self.server

    @property
    def server(self) -> str:
        """The URL up to host and port."""
        return "/".join(self.target.url.split("/")[:3])

    def beside(self, other: "Far") -> bool:
        """Whether both are at one server, seen with the same login, so that it can act on both by itself."""
        ours, theirs = self.target, other.target
        return (
            self.adapter is other.adapter
            and self.server == other.server
            and (ours.credentials, ours.ca) == (theirs.credentials, theirs.ca)
        )


FarOf = Callable[[Ref], Far]


def far_of(catalogue: Catalogue, adapters: Callable[[str], object], ref: Ref) -> Far:
    """As the catalogue has it now. NotPossible where the scheme has no documents, such as a raw stream;
    NotThere where the place is gone.
    """
    adapter = adapters(ref.url)
    if not isinstance(adapter, FileAdapter):
        raise NotPossible("No documents or folders there")
    return Far(current(catalogue, ref), target_of(catalogue, ref), adapter)


def refuse_unwritable(far: Far) -> None:
    """NotAllowed where nothing may be changed. WrongWords for a query: many servers would ignore it, and
    change the document without it.
    """
    if far.ref.place is None or not far.ref.place.write:
        raise NotAllowed("That place may not be written")
    if "?" in far.target.url:
        raise WrongWords("Write ? in a name as %3F")


def refuse_itself(far: Far, to: Far) -> None:
    """WrongMoment where both are one and the same: what is read would be replaced while it is read."""
    if far.beside(to) and far.target.url.rstrip("/") == to.target.url.rstrip("/"):
        raise WrongMoment("That is the same document")
