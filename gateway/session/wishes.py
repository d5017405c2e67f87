"""What a session wants of the world, and what it gets: Wish -> Granted, or a HeadraceError thrown in."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol, TypeAlias

from adapters.errors import HeadraceError, MayBeDone, TooSlow
from adapters.files import Listing, Stat
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Source
from gateway.extract.plan import Plan, Record, Sheet, Style
from gateway.wire.settings import Settings


@dataclass(frozen=True, slots=True)
class SourceWish:
    """A source's records: `args` as typed; `lines` is the text of a source whose body is `lines`."""

    source: Source
    args: tuple[str, ...]
    style: Style
    lines: str | None = None


@dataclass(frozen=True, slots=True)
class PickWish:
    """An ad-hoc plan over the document at `ref`."""

    ref: Ref
    plan: Plan
    style: Style


@dataclass(frozen=True, slots=True)
class ListWish:
    """The entries of a folder."""

    ref: Ref


@dataclass(frozen=True, slots=True)
class ReadWish:
    """`count` bytes from `offset`, at most limits.READ_WINDOW_BYTES or a page's. `same`: of that document
    still, else ChangedMeanwhile.
    """

    ref: Ref
    offset: int
    count: int
    same: Stat | None = None


@dataclass(frozen=True, slots=True)
class TextWish:
    """A document as text in lines of `columns` characters; `flow` joins the lines of a paragraph."""

    ref: Ref
    columns: int
    flow: bool
    style: Style


@dataclass(frozen=True, slots=True)
class StageWish:
    """Begin to take in what is to be stored at, or appended to, `ref`. Nothing changes there yet."""

    ref: Ref
    append: bool


@dataclass(frozen=True, slots=True)
class DataWish:
    """More of it."""

    staging: "Staging"
    data: bytes


@dataclass(frozen=True, slots=True)
class DeliverWish:
    """That was the end: keep it safe, and put it where it belongs."""

    staging: "Staging"


class Act(Enum):
    """What is done to a document or folder in one go."""

    COPY = "COPY"
    ERASE = "ERASE"
    RENAME = "RENAME"
    MAKE_FOLDER = "MKDIR"


@dataclass(frozen=True, slots=True)
class ActWish:
    """One of those; `to` for COPY and RENAME. `carried` is told how many bytes went through the gateway."""

    act: Act
    ref: Ref
    to: Ref | None = None
    carried: Callable[[int], None] = field(default=lambda _: None, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class WorkWish:
    """To work out something that takes as long as laying out `size` bytes: where that is much, beside the
    others, so that nobody waits for it.
    """

    size: int
    work: Callable[[], object]


@dataclass(frozen=True, slots=True)
class CallWish:
    """A stream to a far server. `columns` are those of the client, for a far server that asks."""

    ref: Ref
    columns: int


@dataclass(frozen=True, slots=True)
class CounterWish:
    """A call to the counter of a place with documents, in the folder `ref`. `settings` are the client's, with
    `eol` as it is, and `echo` where the counter is to echo. `check` refuses what the client may not wish for.
    """

    ref: Ref
    settings: Settings
    check: Callable[[object], None] = field(default=lambda _: None, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class SayWish:
    """Send `data` on a stream, then listen a little; nothing where it is empty."""

    call: "FarCall"
    data: bytes


@dataclass(frozen=True, slots=True)
class HearWish:
    """To hear at a reserved port: a call in."""

    port: int


@dataclass(frozen=True, slots=True)
class LoginWish:
    """To be let in as `member`, a name in upper case. `address` is the client's, empty where it has none."""

    member: str
    secret: str = field(repr=False)
    address: str = ""


@dataclass(frozen=True, slots=True)
class CallerWish:
    """Who waits at a reserved port to be answered; `refuse`: turned away with that."""

    port: int
    refuse: bool = False


FarWish: TypeAlias = ListWish | ReadWish | TextWish | StageWish | DataWish | DeliverWish | ActWish
_CallsWish: TypeAlias = CallWish | CounterWish | SayWish | HearWish | CallerWish
Wish: TypeAlias = SourceWish | PickWish | WorkWish | LoginWish | _CallsWish | FarWish


def time_is_up(wish: Wish) -> HeadraceError:
    """What a wish that took too long ends in: one that changes something may have been granted."""
    changes = isinstance(wish, DeliverWish | ActWish) or (
        isinstance(wish, SourceWish) and wish.source.changes
    )
    return MayBeDone() if changes else TooSlow()


class Staging(Protocol):
    """What has been taken in of a STORE or APPEND; the service's own, for the session to pass around."""

    def drop(self) -> None:
        """Forget it: the client gave up or is gone. Harmless a second time, and after delivery."""
        ...


class FarCall(Protocol):
    """A stream that is open; the service's own, for the session to pass around."""

    datagrams: bool  # whether each piece of data is a message of its own

    def facts(self) -> Sequence[tuple[str, str]]:
        """What has passed, as pairs of name(8) and text for WHY."""
        ...

    def drop(self) -> None:
        """Hang up now. Harmless at any time."""
        ...


class FarHearing(Protocol):
    """A wait for a call in; the service's own, for the session to pass around."""

    wake: Callable[[], None]
    """Called when there is something to take; whoever waits sets it."""

    def taken(self) -> "Called | None":
        """The call that has come, once; a HeadraceError where none will come any more."""
        ...

    def drop(self) -> None:
        """Hear no longer. Harmless at any time."""
        ...


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where something came from, for WHY.

    `origin` is scheme://host:port; `how` says in words whether it was fetched or kept; `age` is in
    seconds; `steps` are pairs of a label and the seconds that part took.
    """

    origin: str
    how: str
    age: float = 0.0
    stale: bool = False
    steps: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """A source's or PICK's records; the rest as in `Provenance`."""

    sheet: Sheet
    origin: str
    how: str
    age: float
    stale: bool
    steps: tuple[tuple[str, float], ...]

    @property
    def provenance(self) -> Provenance:
        """The same without the records."""
        return Provenance(self.origin, self.how, self.age, self.stale, self.steps)


@dataclass(frozen=True, slots=True)
class Listed:
    """A folder's entries, in the server's order. `folder` is where it really is."""

    listing: Listing
    folder: Ref
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Part:
    """Bytes of a document from the offset wanted. `size` is the whole document's, None where nobody knows;
    `last`: nothing follows these bytes.
    """

    data: bytes
    size: int | None
    last: bool
    stat: Stat
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Texted:
    """A document's lines, each as wide as wanted, and the links numbered in them: link n is `links[n - 1]`,
    an absolute URL or a whole `place:path`. `limited`: lines were left out by a limit.
    """

    lines: Sequence[Record]
    links: tuple[str, ...]
    limited: bool
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Staged:
    """Ready to take in."""

    staging: Staging


@dataclass(frozen=True, slots=True)
class Taken:
    """Taken in."""


@dataclass(frozen=True, slots=True)
class Done:
    """A file action: 250, or 150 where it goes on without the client. `progress` tells at any time how far
    it is or how it ended, as pairs of name(8) and text for WHY, such as the bytes copied; `ended` tells
    whether it has.
    """

    code: int
    progress: Callable[[], Sequence[tuple[str, str]]]
    ended: Callable[[], bool] = lambda: True


@dataclass(frozen=True, slots=True)
class Worked:
    """What the work gave."""

    result: object


@dataclass(frozen=True, slots=True)
class Called:
    """The far server has answered, or somebody has called, from `address`."""

    call: FarCall
    provenance: Provenance
    address: str = ""


@dataclass(frozen=True, slots=True)
class Heard:
    """What the far server has said since; `over`: it has hung up, and this was the last."""

    data: bytes
    over: bool


@dataclass(frozen=True, slots=True)
class Hearing:
    """The wait has begun."""

    hearing: FarHearing


@dataclass(frozen=True, slots=True)
class Waiting:
    """The address of who waits to be answered, or has been turned away just now; None: nobody."""

    address: str | None


@dataclass(frozen=True, slots=True)
class Accepted:
    """The member is who it says."""

    member: str


_FarGranted: TypeAlias = Listed | Part | Texted | Staged | Taken | Done
Granted: TypeAlias = Called | Heard | Hearing | Waiting | Outcome | Worked | Accepted | _FarGranted
