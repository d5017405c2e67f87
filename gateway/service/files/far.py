"""Ref -> the adapter that speaks its protocol, and its target there; 502 for what cannot be done."""

from collections.abc import Callable
from dataclasses import dataclass

from adapters.errors import NotPossible, WrongMoment
from adapters.files import Ability, FileAdapter, Target
from gateway.catalogue.model import Catalogue
from gateway.catalogue.targets import Ref, target_of


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
        return "this gateway's disk" if self.target.url.startswith("file:") else self._server

    @property
    def _server(self) -> str:
        return "/".join(self.target.url.split("/")[:3])

    def beside(self, other: "Far") -> bool:
        """Whether both are at one server, seen with the same login, so that it can act on both by itself."""
        ours, theirs = self.target, other.target
        return (
            self.adapter is other.adapter
            and self._server == other._server
            and (ours.credentials, ours.ca) == (theirs.credentials, theirs.ca)
        )


FarOf = Callable[[Ref], Far]


def far_of(catalogue: Catalogue, adapters: Callable[[str], object], ref: Ref) -> Far:
    """NotPossible where the scheme has no documents, such as a raw stream."""
    adapter = adapters(ref.url)
    if not isinstance(adapter, FileAdapter):
        raise NotPossible("No documents or folders there")
    return Far(ref, target_of(catalogue, ref), adapter)


def refuse_itself(far: Far, to: Far) -> None:
    """WrongMoment where both are one and the same: what is read would be replaced while it is read."""
    if far.beside(to) and far.target.url.rstrip("/") == to.target.url.rstrip("/"):
        raise WrongMoment("That is the same document")
