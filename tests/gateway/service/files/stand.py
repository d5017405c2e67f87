"""A file desk over far servers in memory: two places, a real spool in a temporary folder."""

from pathlib import Path

from gateway.catalogue.calling.targets import Ref, read_ref
from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue
from gateway.service.adapters import Adapters
from gateway.service.files.desk import FileDesk
from gateway.service.files.jobs import Jobs
from gateway.service.files.spooling import SpoolRoom
from gateway.service.layouts import Layouts
from gateway.session.wishes import DataWish, DeliverWish, Done, Staged, StageWish
from tests.gateway.service.files.memory import MemoryFiles

TEXT = """
[place.quay]
base = "ftp://quay.example/pub/"
write = true
[place.ledger]
base = "davs://ledger.example/club/"
write = true
[place.shut]
base = "davs://ledger.example/shut/"
"""
QUAY, LEDGER = "ftp://quay.example/pub/", "davs://ledger.example/club/"


class MemoryAdapters(Adapters):
    """One adapter in memory for each scheme."""

    def __init__(self) -> None:
        super().__init__()
        self.quay, self.ledger = MemoryFiles(), MemoryFiles()

    def of(self, url: str) -> MemoryFiles:
        return self.quay if url.startswith("ftp:") else self.ledger


class Stand:
    def __init__(self, state: Path) -> None:
        self.catalogue: Catalogue = load_catalogue(TEXT, "test.toml", lambda _: None)
        self.adapters = MemoryAdapters()
        self.quay, self.ledger = self.adapters.quay, self.adapters.ledger
        self.jobs = Jobs()
        self.room = SpoolRoom(state)
        self.desk = FileDesk(lambda: self.catalogue, self.adapters, self.room.opened, self.jobs, Layouts())

    def ref(self, text: str) -> Ref:
        return read_ref(self.catalogue, text)

    async def store(self, text: str, *pieces: bytes, append: bool = False, seconds: float = 5) -> Done:
        """STORE or APPEND those pieces at a ref."""
        staged = await self.desk.answer(StageWish(self.ref(text), append), 5)
        assert isinstance(staged, Staged)
        for piece in pieces:
            self.desk.take(DataWish(staged.staging, piece))
        done = await self.desk.answer(DeliverWish(staged.staging), seconds)
        assert isinstance(done, Done)
        return done

    @property
    def kept(self) -> list[tuple[str, str, str]]:
        """Kind, ref and last fault of what is in the spool."""
        return [
            (each.record.job.kind.value, each.record.job.ref, each.fault.sentence)
            for each in self.room.opened().held()
        ]
