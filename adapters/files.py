"""The file side of the port: Target -> entries, bytes, or a change made whole; one error otherwise.

An adapter whose scheme has documents and folders derives from `FileAdapter` and overrides what its protocol
can do; everything else is NotPossible (502), and `abilities` says which is which. Names are bytes, as the
far server has them: what was listed can be fetched. Every method ends within `seconds` from now with its
result or a HeadraceError (TooSlow when time is up); besides, an adapter gives up with TooSlow where nothing
moves for limits.STALL_SECONDS, so that a transfer of hours may be given hours.

A change is made as a whole or not at all. Where the far server may have acted and did not say that it did
not, the error is MayBeDone; every other error promises that the target is as it was.

The same mistake is the same error in the same words over every protocol that can tell (below):

- WrongDocument A_FOLDER: reading or copying a folder, writing onto one, whatever the condition. A slash at
  the end of a URL means a folder, so what is written or appended there is refused without asking anybody.
- WrongDocument A_DOCUMENT: listing a document, with or without a slash; reading one with a slash.
- ChangedMeanwhile ALREADY_THERE: a folder made, a document renamed, or one written on condition of
  Was.NOTHING where something is.
- NotThere NO_FOLDER: a change that needs a folder to put something in. NotThere "Not there": all else.
- NotPossible NOT_EMPTY: erasing a full folder.

Whatever else a slash at the end of a name does is up to the protocol. An error that an adapter raises once it
knows the place's origin has it in `far`, in the place's own scheme.
"""

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import Enum, Flag, auto
from typing import ClassVar, Final
from urllib.parse import quote_from_bytes, unquote_to_bytes

from adapters.errors import ChangedMeanwhile, NotPossible, TooLarge
from adapters.in_hand import in_hand
from adapters.media import media_type_of
from adapters.port import Call, Credentials, Fetched, Reach, Validators

A_FOLDER: Final = "That is a folder"
A_DOCUMENT: Final = "That is a document"
ALREADY_THERE: Final = "Already there"
NO_FOLDER: Final = "No such folder there"
NOT_EMPTY: Final = "The folder is not empty"
ROOT_STAYS: Final = "The place itself stays"


class Ability(Flag):
    """What can be done at a target, by name."""

    NONE = 0
    LIST = auto()
    STAT = auto()
    READ = auto()
    RANGE = auto()  # a read that starts later takes no longer
    WRITE = auto()
    APPEND = auto()
    ERASE = auto()
    RENAME = auto()
    MAKE_FOLDER = auto()
    COPY = auto()  # within one far server, the bytes staying there


@dataclass(frozen=True, slots=True)
class Target:
    """One thing at a far server, and as whom.

    `url` is absolute, percent-encoded, without credentials, query only for HTTP. `root` is the place's own
    URL, which ends in a slash: nothing outside it is touched. `index` is "html" where the place says that
    its folders are index pages, else empty. `ca` is the path of a PEM file that replaces the usual trust
    anchors.
    """

    url: str
    root: str
    credentials: Credentials | None = None
    ca: str | None = None
    reach: Reach = field(default_factory=Reach)
    index: str = ""

    @property
    def name(self) -> bytes:
        """The last segment of the path, decoded once; empty for the root of a server."""
        path = self.url.partition("?")[0].partition("://")[2].partition("/")[2]
        return unquote_to_bytes(path.rstrip("/").rpartition("/")[2])

    @property
    def names_folder(self) -> bool:
        """Whether its path ends in a slash."""
        return self.url.partition("?")[0].endswith("/")

    def beside(self, name: bytes) -> "Target":
        """The target of another name in the same folder."""
        folder = self.url.partition("?")[0].rstrip("/").rpartition("/")[0]
        return replace(self, url=f"{folder}/{quoted(name)}")

    def within(self, name: bytes) -> "Target":
        """The target of a name in this folder."""
        return replace(self, url=f"{self.url.partition('?')[0].rstrip('/')}/{quoted(name)}")


SEGMENT_SAFE: Final = "!$&'()*+,;=:@~"  # RFC 3986 section 3.3, beside letters, digits and `-._`


def quoted(name: bytes) -> str:
    """One path segment, percent-encoded byte by byte (RFC 3986 section 2.1)."""
    return quote_from_bytes(name, SEGMENT_SAFE)


class Kind(Enum):
    """What an entry is, as a listing shows it."""

    FILE = "F"
    FOLDER = "D"
    LINK = "L"


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a folder. `name` is one segment, decoded, never empty, `.`, `..` or with a slash.

    `size` in bytes and `modified` (aware) are None where the server does not tell, or tells nonsense.
    `url` is where it is to be fetched, where that is not its name in the folder that was listed.
    """

    name: bytes
    kind: Kind
    size: int | None = None
    modified: datetime | None = None
    url: str | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """The entries of a folder, in the server's order; `partial` where some were left out by a limit or could
    not be read. `url` is the folder's own, where a redirect led elsewhere; `steps` as in `Fetched`.
    """

    entries: tuple[Entry, ...]
    partial: bool = False
    url: str = ""
    origin: str = ""
    steps: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Stat:
    """What is known of one document or folder without reading it. Unknown is None or empty."""

    kind: Kind
    size: int | None = None
    modified: datetime | None = None
    validators: Validators = field(default_factory=Validators)
    media_type: str = ""
    charset: str | None = None
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Digest:
    """What a server says about a whole document: a `hashlib` name and lower-case hex digits."""

    algorithm: str
    digits: str


@dataclass(frozen=True, slots=True)
class Reading:
    """A document being read. `offset` is the first byte that `chunks` gives, `size` the whole document's.

    `chunks` can be run through once, and ends after the bytes wanted; BrokenOff where fewer came than the
    server promised. `stat` is of the document that these bytes are of.
    """

    chunks: AsyncIterator[bytes]
    offset: int
    size: int | None
    stat: Stat
    digest: Digest | None = None
    steps: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Upload:
    """Bytes to be written: `size` where it is known. `chunks()` starts from the beginning each time it is
    called; where not `repeatable`, it may be called once only.
    """

    chunks: Callable[[], AsyncIterator[bytes]]
    size: int | None = None
    repeatable: bool = True
    media_type: str = "application/octet-stream"


class Was(Enum):
    """What has to be at the target for a change to be made."""

    ANYTHING = "anything"
    NOTHING = "nothing"


Condition = Was | Stat
"""A `Stat`: the target is still that one, as far as the protocol can tell; else ChangedMeanwhile."""


def unmet(condition: Condition) -> ChangedMeanwhile:
    """The error where a condition does not hold."""
    return ChangedMeanwhile(ALREADY_THERE if condition is Was.NOTHING else "Changed meanwhile")


@dataclass(frozen=True, slots=True)
class Written:
    """A change that was made. `size` bytes were sent, or copied; `checked` says by what it was verified:
    "size", a digest's name, or nothing.
    """

    size: int | None
    checked: str = ""
    steps: tuple[tuple[str, float], ...] = ()


class FileAdapter:
    """An adapter that can do nothing yet: each protocol overrides what it can, and sets `can`.

    Instances are shared by all clients, live in one event loop and as long as the service.
    """

    can: ClassVar[Ability] = Ability.NONE

    def abilities(self, target: Target) -> Ability:
        """What can be done at this target, as far as is known without asking the far server."""
        return self.can

    async def list(self, target: Target, seconds: float) -> Listing:
        """The entries of a folder. NotThere: no such folder, which is never an empty one."""
        raise _not_here("LIST", target)

    async def stat(self, target: Target, seconds: float) -> Stat:
        """What `target` is. NotThere where nothing is."""
        raise _not_here("STAT", target)

    def read(
        self, target: Target, offset: int, count: int | None, seconds: float
    ) -> AbstractAsyncContextManager[Reading]:
        """`count` bytes (None: all) from `offset`. Leaving the context early stops the transfer and does not
        harm the connection for others. An offset at or past the end gives no bytes and no error.
        """
        raise _not_here("READ", target)

    async def write(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """Put a document in the place of what was there, whole. The folder has to be there already."""
        raise _not_here("STORE", target)

    async def append(self, target: Target, upload: Upload, condition: Condition, seconds: float) -> Written:
        """Add at the end of a document, or make it; all of it or nothing."""
        raise _not_here("APPEND", target)

    async def erase(self, target: Target, seconds: float) -> None:
        """Remove a document, a link (not what it leads to), or an empty folder; a full one is NotPossible."""
        raise _not_here("ERASE", target)

    async def rename(self, target: Target, to: Target, seconds: float) -> None:
        """Another name at the same far server. ChangedMeanwhile where something has that name."""
        raise _not_here("RENAME", target)

    async def make_folder(self, target: Target, seconds: float) -> None:
        """Make one folder. ChangedMeanwhile where something has that name, NotThere without its parent."""
        raise _not_here("MKDIR", target)

    async def copy(self, target: Target, to: Target, seconds: float) -> Written:
        """Copy one document within the far server, whole, in the place of what was there."""
        raise _not_here("COPY", target)

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """A whole document by way of `read`, for requests that pick values out of one."""
        if call.method != "GET" or call.body is not None:
            raise NotPossible("Nothing can be sent there")
        target = Target(call.url, call.root or call.url, call.credentials, call.ca, call.reach)
        async with self.read(target, 0, None, seconds) as reading:
            if reading.size is not None and reading.size > call.body_limit:
                raise TooLarge("The document is too large")
            body = bytearray()
            async for chunk in reading.chunks:
                body += chunk
                if len(body) > call.body_limit:
                    raise TooLarge("The document is too large")
                await in_hand(len(body))
        stat = reading.stat
        return Fetched(
            body=bytes(body),
            media_type=stat.media_type or media_type_of(target.name),
            charset=stat.charset,
            origin=stat.origin,
            steps=reading.steps,
        )

    async def aclose(self) -> None:
        """Close pooled connections; the adapter is not used afterwards."""


def _not_here(request: str, target: Target) -> NotPossible:
    return NotPossible(f"{request} is not possible with {target.url.partition(':')[0]}")
