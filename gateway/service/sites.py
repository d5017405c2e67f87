"""A folder of recordings -> the adapters of a gateway that records, or plays."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from adapters.port import Adapter, AdapterFactory, CredentialKind
from adapters.recorded.faults.plan import FaultPlan
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from gateway.catalogue.model import Catalogue
from gateway.service.clocks import Clock


class Mode(Enum):
    """What is done with the folder."""

    RECORD = "record"  # far servers are asked, and what they say is kept
    PLAY = "play"  # no far server is asked
    ADD = "add"  # far servers are asked for what was not recorded, which is then kept


@dataclass(frozen=True, slots=True)
class Site:
    """A folder of recordings in use, what hides secrets in it, and what is to go wrong."""

    folder: Folder
    hiding: Hiding
    mode: Mode
    clock: Clock
    faults: FaultPlan | None = None

    @property
    def offline(self) -> bool:
        """Whether the recordings answer."""
        return self.mode is not Mode.RECORD

    @property
    def records(self) -> bool:
        """Whether what far servers answer is kept."""
        return self.mode is not Mode.PLAY

    def make(self, factory: AdapterFactory) -> Adapter:
        """The adapter that stands in for the registry's. What it is made of is imported only here: a gateway
        without recordings needs none of it.
        """
        from gateway.service.stand_ins import stand_in  # noqa: PLC0415

        return stand_in(self, factory)


def credential_names(catalogue: Catalogue) -> Iterator[str]:
    """The headers and query parameters in which the catalogue's secrets travel."""
    for source in catalogue.sources.values():
        if source.auth is not None and source.auth.kind in (CredentialKind.HEADER, CredentialKind.QUERY):
            yield source.auth.name
