"""The port that every adapter implements: Call -> Fetched, or one error of `adapters.errors`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol

from adapters import limits

Origin = tuple[str, int]
"""A host in lower case and a port."""


class CredentialKind(Enum):
    """How a secret travels to the far server."""

    BASIC = "basic"  # RFC 7617: `name` is the user
    BEARER = "bearer"  # RFC 6750
    HEADER = "header"  # `name` is the header's name
    QUERY = "query"  # `name` is the query parameter's name


@dataclass(frozen=True, slots=True)
class Credentials:
    """Who the gateway is to one origin. The secret is kept out of repr()."""

    kind: CredentialKind
    name: str
    secret: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class Reach:
    """Where a call may go.

    `named` are the origins that the catalogue names: they may be loopback or private. Every other
    origin, such as a redirect's, must be public on the address dialled, unless `allow` (addresses,
    networks in CIDR form, or host names) lists it.
    """

    named: frozenset[Origin] = frozenset()
    allow: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Validators:
    """What a conditional request can be made with (RFC 9110 section 8.8), as the server sent it."""

    etag: str | None = None
    last_modified: str | None = None

    def __bool__(self) -> bool:
        return self.etag is not None or self.last_modified is not None


@dataclass(frozen=True, slots=True)
class Freshness:
    """What the server says about keeping its answer (RFC 9111); None where it says nothing.

    `max_age` is the remaining freshness lifetime in seconds at the time of the answer, that is, with
    the Age it arrived with taken off (never below 0). `no_store`: not to be kept. `no_cache`: to be
    validated before every use.
    """

    max_age: int | None = None
    no_store: bool = False
    no_cache: bool = False


@dataclass(frozen=True, slots=True)
class Call:
    """One exchange with a far server, complete.

    `url` is absolute and holds no credentials. `headers` are the catalogue's own, never secret, already
    checked for control characters. `ca` is the path of a PEM file that replaces the usual trust anchors.
    `changes` is true where the far server may act on it (TELL): such a call is never repeated by itself
    and its doubtful outcomes are MayBeDone. `accept` is the Accept header's value or empty. `root` is the URL
    of the place that the document is in, or empty: a folder on disk may not be left.
    """

    url: str
    method: str = "GET"
    headers: tuple[tuple[str, str], ...] = ()
    body: bytes | None = None
    media_type: str = ""
    accept: str = ""
    credentials: Credentials | None = None
    ca: str | None = None
    reach: Reach = Reach()
    validators: Validators = Validators()
    changes: bool = False
    body_limit: int = limits.BODY_BYTES
    root: str = ""


@dataclass(frozen=True, slots=True)
class Fetched:
    """What came back, whole: the body decoded from its transfer and content codings.

    `media_type` is `type/subtype` in lower case, or empty; `charset` as the server named it, or None.
    `not_modified` answers `Call.validators`: the body is then empty and the kept copy is good.
    `steps` are pairs of a short label and the seconds that part took.
    """

    body: bytes
    media_type: str = ""
    charset: str | None = None
    status: int = 200
    validators: Validators = Validators()
    freshness: Freshness = Freshness()
    not_modified: bool = False
    origin: str = ""  # scheme://host:port of the final answer, for WHY and logs
    steps: tuple[tuple[str, float], ...] = ()


class Adapter(Protocol):
    """One protocol family. Instances are shared by all clients and live as long as the service."""

    async def fetch(self, call: Call, seconds: float) -> Fetched:
        """The whole exchange within `seconds` from now, or a HeadraceError (TooSlow when time is up)."""
        ...

    async def aclose(self) -> None:
        """Close pooled connections; the adapter is not used afterwards."""
        ...


class AdapterFactory(Protocol):
    """What the registry finds under a scheme: called once, without arguments."""

    def __call__(self) -> Adapter:
        """A new adapter, ready for calls."""
        ...


Schemes = Mapping[str, AdapterFactory]
