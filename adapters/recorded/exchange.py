"""One exchange with a far server as it is kept: what was asked, and what came of it.

`http` and `https` are kept as the messages that went over the line, each hop of a redirect by itself (RFC
9110). Every other scheme is kept as what the gateway asked its adapter for (adapters.files): LIST, STAT,
READ, WRITE, APPEND, ERASE, RENAME, MKDIR, COPY. Both are an `Exchange`; `reply` tells which.

Nothing that is kept is secret: the folder hides what is given to it (adapters.recorded.hiding), and hides
what it is asked for in the same way before it looks.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, Final, TypeAlias

from adapters import limits
from adapters.files import Digest, Listing, Stat, Written

Headers: TypeAlias = tuple[tuple[str, str], ...]
"""Field names and values in order, as text in Latin-1 (RFC 9110 section 5.5); a name may come again."""

FILE_METHODS: Final = ("LIST", "STAT", "READ", "WRITE", "APPEND", "ERASE", "RENAME", "MKDIR", "COPY")
"""What an exchange that is not HTTP asks for, as `Asked.method`. WRITE's and APPEND's body is the document's
bytes; RENAME's and COPY's other end is `Asked.to`."""


@dataclass(frozen=True, slots=True)
class Content:
    """The bytes of a body: in `data`, or in the file at `path`. Two are equal where their bytes are."""

    data: bytes = b""
    path: Path | None = None

    @property
    def size(self) -> int:
        """In bytes. OSError where the file is gone."""
        return len(self.data) if self.path is None else self.path.stat().st_size

    def opened(self) -> BinaryIO:
        """To be read from its first byte, and closed."""
        return BytesIO(self.data) if self.path is None else self.path.open("rb")

    def chunks(self, offset: int = 0) -> Iterator[bytes]:
        """The bytes from `offset` on, limits.CHUNK_BYTES at a time."""
        with self.opened() as file:
            file.seek(offset)
            while data := file.read(limits.CHUNK_BYTES):
                yield data

    def read(self) -> bytes:
        """All of it: for bodies that are known to be small."""
        return b"".join(self.chunks())

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Content):
            return NotImplemented
        return self.size == other.size and all(
            one == two for one, two in zip(self.chunks(), other.chunks(), strict=True)
        )

    __hash__ = None  # type: ignore[assignment]


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for.

    `method` is HTTP's in capitals, or one of FILE_METHODS. `url` is absolute, without credentials or
    fragment, hidden parts replaced. `headers` are those of an HTTP request that can change its answer (see
    adapters.recorded.hiding); Host, Content-Length and credentials are not among them. `to` is the other URL
    of a RENAME or COPY. `offset` and `count` are a READ's (count None: to the end). `request` is the client's
    request that it was made for, such as "ASK TIDES MOLE", or empty where that is not known.
    """

    method: str
    url: str
    headers: Headers = ()
    body: Content | None = None
    to: str = ""
    offset: int = 0
    count: int | None = None
    request: str = ""


@dataclass(frozen=True, slots=True)
class Message:
    """An HTTP response.

    `headers` lack what belongs to one connection or one coding of the body: Connection, Keep-Alive,
    Transfer-Encoding, Content-Length, and Content-Encoding where the body is kept decoded. `content` is the
    body, decoded from gzip where `squeezed` says that it came so; None where the response has none (HEAD,
    204, 304). `length` is what Content-Length announced, and only kept where `content` is not all of it.
    `failure` is what broke the body off after `content`; without one and with a `length`, the gateway read no
    further.
    """

    status: int
    headers: Headers = ()
    content: Content | None = None
    squeezed: bool = False
    length: int | None = None
    failure: "Failure | None" = None


@dataclass(frozen=True, slots=True)
class Told:
    """What an adapter that is not HTTP answered: the part that its method gives, the others None.

    LIST: `listing`. STAT: `stat`. READ: `stat`, `content`, `offset` of its first byte, `size` of the whole
    document where known, `digest` of the whole, `failure` where it broke off after `content`. WRITE, APPEND,
    COPY: `written`. ERASE, RENAME, MKDIR: nothing. `steps` of listings and the like are not kept.
    """

    listing: Listing | None = None
    stat: Stat | None = None
    content: Content | None = None
    offset: int = 0
    size: int | None = None
    digest: Digest | None = None
    written: Written | None = None
    failure: "Failure | None" = None


@dataclass(frozen=True, slots=True)
class Failure:
    """An error instead of an answer: the name of its class in adapters.errors, and its sentence.

    `seconds` is what AskedTooOften and FarBusy know; `far` as on the error. `sent`: the request was
    under way, so that a change may have been made.
    """

    name: str
    sentence: str
    seconds: int | None = None
    far: str = ""
    sent: bool = False


Reply: TypeAlias = Message | Told | Failure


@dataclass(frozen=True, slots=True)
class Exchange:
    """One exchange, whole. `at` is when it began (aware, UTC, whole milliseconds), `took` how long it took in
    seconds to its end. `times`: how often in a row exactly this came of exactly that.
    """

    asked: Asked
    reply: Reply
    at: datetime
    took: float = 0.0
    times: int = 1
