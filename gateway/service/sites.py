"""A folder of recordings -> the adapters of a gateway that records, or plays."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from adapters.files import FileAdapter
from adapters.port import Adapter, AdapterFactory, CredentialKind
from adapters.recorded.folder import Folder
from adapters.recorded.hiding import Hiding
from gateway.catalogue.model import Catalogue
from gateway.service.clocks import Clock


class Mode(Enum):
    """What is done with the folder."""

    RECORD = "record"  # far servers are asked, and what they say is kept
    PLAY = "play"  # no far server is asked


@dataclass(frozen=True, slots=True)
class Site:
    """A folder of recordings in use, and what hides secrets in it."""

    folder: Folder
    hiding: Hiding
    mode: Mode
    clock: Clock

    @property
    def offline(self) -> bool:
        """Whether far servers stay unasked."""
        return self.mode is Mode.PLAY

    def make(self, factory: AdapterFactory) -> Adapter:
        """The adapter that stands in for the registry's. What it is made of is imported only here: a gateway
        without recordings needs none of it.
        """
        from adapters.http.adapter import HttpAdapter  # noqa: PLC0415
        from adapters.recorded.files.playing import PlayingFetch, PlayingFiles  # noqa: PLC0415
        from adapters.recorded.files.recording import RecordingFetch, RecordingFiles  # noqa: PLC0415
        from adapters.recorded.http.playing import PlayingLink  # noqa: PLC0415
        from adapters.recorded.http.recording import RecordingLink  # noqa: PLC0415

        now, folder = self.clock.now, self.folder
        if factory is HttpAdapter:
            link = PlayingLink(folder, now) if self.offline else RecordingLink(folder)
            return HttpAdapter(now=now, link=link)
        inner = factory()
        if isinstance(inner, FileAdapter):
            return PlayingFiles(inner, folder) if self.offline else RecordingFiles(inner, folder)
        return PlayingFetch(inner, folder) if self.offline else RecordingFetch(inner, folder)


def credential_names(catalogue: Catalogue) -> Iterator[str]:
    """The headers and query parameters in which the catalogue's secrets travel."""
    for source in catalogue.sources.values():
        if source.auth is not None and source.auth.kind in (CredentialKind.HEADER, CredentialKind.QUERY):
            yield source.auth.name
