"""A far folder in memory that grants the wishes of a session, and a client that talks to it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from types import MappingProxyType

from adapters.errors import ChangedMeanwhile, HeadraceError, NotThere
from adapters.files import Entry, Kind, Listing, Stat
from adapters.port import Validators
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, GatewaySettings, LineEnd, Place
from gateway.extract.plan import Record, Sheet
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.wishes import (
    Act,
    ActWish,
    CallerWish,
    CallWish,
    CounterWish,
    DataWish,
    DeliverWish,
    Done,
    Granted,
    HearWish,
    Listed,
    ListWish,
    LoginWish,
    Outcome,
    Part,
    PickWish,
    Provenance,
    ReadWish,
    SayWish,
    SourceWish,
    Staged,
    StageWish,
    Taken,
    Texted,
    TextWish,
    Wish,
    Worked,
    WorkWish,
)
from gateway.wire.settings import Settings
from tests.gateway.session.conftest import Talk

CLUB = "ftp://far.example/pub/"
FROM = Provenance("ftp://far.example:21", "fetched", steps=(("list", 0.012),))
PLACES = {
    "CLUB": Place("CLUB", CLUB, write=True),
    "DOS": Place("DOS", "dav://far.example/dos/", write=True, lines=LineEnd.CRLF),
    "SHELF": Place("SHELF", "https://far.example/shelf/"),
}
WHEN = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)


@dataclass
class Tray:
    """A staging: what was taken in, and what became of it."""

    ref: Ref
    append: bool
    data: bytearray = field(default_factory=bytearray)
    sizes: list[int] = field(default_factory=list)
    dropped: int = 0

    def drop(self) -> None:
        self.dropped += 1


@dataclass
class Far:
    """Documents by URL. `fault` is raised for a wish that it says so of; `room` bytes can be taken in."""

    documents: dict[str, bytes] = field(default_factory=dict)
    listings: dict[str, Sequence[Entry]] = field(default_factory=dict)
    moved: dict[str, str] = field(default_factory=dict)
    links: tuple[str, ...] = ()
    partial: bool = False
    trays: list[Tray] = field(default_factory=list)
    fault: Callable[[Wish], HeadraceError | None] = lambda _: None
    code: int = 250
    copied: int = 0
    ended: bool = False
    versions: dict[str, int] = field(default_factory=dict)
    knows_size: bool = True

    def grant(self, wish: Wish) -> Granted:
        fault = self.fault(wish)
        if fault is not None:
            raise fault
        match wish:
            case ListWish(ref):
                return self._listed(ref)
            case ReadWish():
                return self._read(wish)
            case TextWish():
                texts = ["One [1]", "two", "three [2]"]
                records = [Record(text[: wish.columns].ljust(wish.columns)) for text in texts]
                return Texted(records, self.links, self.partial, FROM)
            case StageWish(ref, append):
                self.trays.append(Tray(ref, append))
                return Staged(self.trays[-1])
            case DataWish(staging, data):
                assert isinstance(staging, Tray)
                assert not staging.dropped
                staging.data += data
                staging.sizes.append(len(data))
                return Taken()
            case DeliverWish(staging):
                assert isinstance(staging, Tray)
                assert not staging.dropped
                before = self.documents.get(staging.ref.url, b"") if staging.append else b""
                self.documents[staging.ref.url] = before + bytes(staging.data)
                return self._done()
            case ActWish(act, ref, to):
                self._act(act, ref, to)
                return self._done()
            case PickWish(ref):
                size = len(self._document(ref))
                return Outcome(Sheet(5, (Record(f"{size:5}"),)), "far", "fetched", 0, False, ())
            case WorkWish(_, work):
                return Worked(work())
            case (
                SourceWish()
                | CallWish()
                | CounterWish()
                | SayWish()
                | HearWish()
                | CallerWish()
                | LoginWish()
            ):
                raise AssertionError(wish)

    def _listed(self, ref: Ref) -> Listed:
        key = ref.url.rstrip("/") + "/"
        if key not in self.listings:
            raise NotThere("No such folder")
        folder = replace(ref, url=self.moved.get(key, key))
        return Listed(Listing(tuple(self.listings[key]), self.partial), folder, FROM)

    def _document(self, ref: Ref) -> bytes:
        if ref.url not in self.documents:
            raise NotThere
        return self.documents[ref.url]

    def _read(self, wish: ReadWish) -> Part:
        document = self._document(wish.ref)
        assert wish.count >= 1
        stat = Stat(
            Kind.FILE,
            len(document),
            validators=Validators(etag=str(self.versions.get(wish.ref.url, 0))),
        )
        if wish.same is not None and wish.same != stat:
            raise ChangedMeanwhile
        data = document[wish.offset : wish.offset + wish.count]
        last = wish.offset + wish.count >= len(document)
        return Part(data, len(document) if self.knows_size else None, last, stat, FROM)

    def _act(self, act: Act, ref: Ref, to: Ref | None) -> None:
        match act:
            case Act.COPY:
                assert to is not None
                self.documents[to.url] = self._document(ref)
            case Act.RENAME:
                assert to is not None
                self.documents[to.url] = self._document(ref)
                del self.documents[ref.url]
            case Act.ERASE:
                self._document(ref)
                del self.documents[ref.url]
            case Act.MAKE_FOLDER:
                self.listings[ref.url] = ()

    def _done(self) -> Done:
        self.copied = 100
        return Done(
            self.code,
            lambda: (("COPIED", f"{self.copied} bytes"), ("FROM", "club")),
            lambda: self.code == 250 or self.ended,
        )


def catalogue(**places: Place) -> Catalogue:
    """The catalogue of these tests, with other places beside or instead of its own."""
    return Catalogue(
        gateway=GatewaySettings(urls=("open.example",)),
        places=MappingProxyType(PLACES | places),
        profiles=MappingProxyType({"PLAIN": Settings()}),
    )


def entries(*names: str) -> list[Entry]:
    """Files of those names; a name that ends in a slash is a folder."""
    return [
        Entry(name.rstrip("/").encode(), Kind.FOLDER if name.endswith("/") else Kind.FILE, 7, WHEN)
        for name in names
    ]


@dataclass
class FarTalk(Talk):
    """One connection and its far folder."""

    far: Far = field(default_factory=Far)

    def ready(self, line: str) -> None:
        """A request that is answered 350."""
        assert self.say(line) == ("350 00000 000 ..", [])

    def url(self, name: str) -> bytes | None:
        """What is at a name of CLUB."""
        return self.far.documents.get(CLUB + name)


def far_talk(far: Far | None = None, known: Callable[[], Catalogue] = catalogue) -> FarTalk:
    """A new connection to a gateway with these places."""
    far = far or Far()
    world = World(known, lambda: datetime(2026, 3, 29, 0, 59, 58, tzinfo=UTC))
    return FarTalk(Session(world, "PLAIN"), far.grant, far=far)
