"""A checked catalogue: what the file means, compiled and frozen.

Every value here has passed the checks: names, templates, paths and patterns are usable as they stand.
"""

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType
from typing import Final, TypeAlias

from adapters.addresses import plain_address
from adapters.port import CredentialKind, Origin
from gateway.catalogue.access import Member, Rights
from gateway.extract.plan import Plan
from gateway.wire.ready import PROFILES
from gateway.wire.settings import Settings


class ArgKind(Enum):
    """What a client may type for an arg; checked before any fetch."""

    TEXT = "text"
    INT = "int"
    FIXED = "fixed"


@dataclass(frozen=True, slots=True)
class Arg:
    """One arg of a source. `choices`: case-folded short form -> what the server wants; empty: anything."""

    name: str
    kind: ArgKind = ArgKind.TEXT
    choices: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class SecretRef:
    """Where a secret is: `env:NAME`, `file:PATH` or `credential:NAME`. Never the secret itself."""

    text: str


@dataclass(frozen=True, slots=True)
class Auth:
    """How a source shows who it is. `name`: the user, the header or the query parameter."""

    kind: CredentialKind
    name: str
    secret: SecretRef


@dataclass(frozen=True, slots=True)
class Number:
    """A decimal of the file, digit for digit, as JSON may write it."""

    text: str


BodyValue: TypeAlias = "str | int | bool | Number | list[BodyValue] | dict[str, BodyValue]"
"""A TOML value whose strings may hold `{arg}`."""


@dataclass(frozen=True, slots=True)
class JsonBody:
    """A table sent as JSON (RFC 8259)."""

    table: Mapping[str, BodyValue]


@dataclass(frozen=True, slots=True)
class FormBody:
    """A table sent as application/x-www-form-urlencoded (WHATWG URL standard, section 5)."""

    table: Mapping[str, BodyValue]


@dataclass(frozen=True, slots=True)
class TextBody:
    """A text with `{arg}` in it; args are escaped for XML where `xml`."""

    template: str
    xml: bool


@dataclass(frozen=True, slots=True)
class LinesBody:
    """The client's own data lines, sent as UTF-8 text."""


Body: TypeAlias = JsonBody | FormBody | TextBody | LinesBody


@dataclass(frozen=True, slots=True)
class Source:
    """A named question to a far server and how its answer is laid out.

    `url` is an RFC 6570 template, or `place:path`. `keep` and `stale` are seconds; None: what the server
    says, and not at all.
    """

    name: str  # upper case
    url: str
    plan: Plan
    about: str = ""
    args: tuple[Arg, ...] = ()
    method: str = "GET"
    headers: tuple[tuple[str, str], ...] = ()  # values may hold {arg}
    body: Body | None = None
    keep: float | None = None
    stale: float | None = None
    auth: Auth | None = None
    ca: str | None = None

    @property
    def changes(self) -> bool:
        """Whether it changes something at the far server: TELL, not ASK (RFC 9110 section 9.2.1)."""
        return self.method not in {"GET", "HEAD"}


STREAMS: Final = ("tcp", "tls", "telnet", "udp")
"""Schemes of open lines, which have no paths."""

_PROTOCOLS: Final = MappingProxyType(
    {"http": "http", "https": "http", "dav": "http", "davs": "http", "ftp": "ftp", "ftps": "ftp"}
)


def protocol(scheme: str) -> str:
    """What is spoken at a port that a URL of that scheme names: http, ftp, a stream, or udp."""
    return _PROTOCOLS.get(scheme, "udp" if scheme == "udp" else "stream")


class LineEnd(Enum):
    """What ends each line of a text that is stored."""

    LF = "lf"
    CRLF = "crlf"
    CR = "cr"

    @property
    def data(self) -> bytes:
        """Its bytes."""
        return {LineEnd.LF: b"\n", LineEnd.CRLF: b"\r\n", LineEnd.CR: b"\r"}[self]


@dataclass(frozen=True, slots=True)
class Place:
    """A named root of refs. `index` is "html" where its folders are index pages, else empty.

    `lines` is what ends its lines, None for what is usual there. A stream's text is in `charset`, by Python's
    name, unless it is `raw`: then nothing is made of its bytes.
    """

    name: str  # upper case
    base: str
    user: str | None = None
    secret: SecretRef | None = None
    write: bool = False
    ca: str | None = None
    index: str = ""
    lines: LineEnd | None = None
    charset: str = "utf-8"
    raw: bool = False

    @property
    def is_stream(self) -> bool:
        """Whether it is an open line, and has no documents."""
        return self.base.partition(":")[0] in STREAMS


@dataclass(frozen=True, slots=True)
class ReservedPort:
    """A port for calls in, which HEAR waits for, or which rings at a listener that speaks modem.

    A caller is shown `banner`, waits `waiting` seconds at most for somebody to answer, and is shown `busy`
    where nobody does. `telnet`: callers speak it. The rest is as in `Place`.
    """

    port: int
    host: str = "127.0.0.1"
    banner: str = ""
    busy: str = "Nobody can take the call now; please call again later"
    waiting: float = 30.0
    telnet: bool = False
    lines: LineEnd | None = None
    charset: str = "utf-8"
    raw: bool = False


Network: TypeAlias = ipaddress.IPv4Network | ipaddress.IPv6Network
"""One address is a network of one."""


SPEEDS: Final = (300, 600, 1_200, 2_400, 4_800, 9_600, 19_200, 38_400, 57_600, 115_200)
"""Bits a second that a serial device can be set to."""


class Parity(Enum):
    """A serial device's parity bit."""

    NONE = "none"
    EVEN = "even"
    ODD = "odd"


class Handshake(Enum):
    """How a serial device's two ends tell each other to wait: not at all, by lines of the cable, by 13h."""

    NONE = "none"
    RTSCTS = "rtscts"
    XONXOFF = "xonxoff"


@dataclass(frozen=True, slots=True)
class SerialDevice:
    """A serial device and how it is set. `carrier`: the line is up while the device says so (DCD). `drop`:
    DTR is dropped where a session ends.
    """

    path: str
    speed: int = 9_600
    bits: int = 8
    parity: Parity = Parity.NONE
    stop_bits: int = 1
    handshake: Handshake = Handshake.NONE
    carrier: bool = False
    drop: bool = False


class Speaks(Enum):
    """What a listener's clients say: requests, or the commands of a modem."""

    REQUESTS = "requests"
    MODEM = "modem"


@dataclass(frozen=True, slots=True)
class Listener:
    """One address to listen at, or one serial device.

    `by_address`: profiles for some clients' addresses, the most specific network first. `resume`: a client
    that lost its line may take up within `resume_for` seconds where it was. `rings`: the reserved port whose
    callers ring here, None for none. `networks`: those from which a client may connect, None for all.
    `rights`: the name of those of a client that has not logged in, empty for everything; `rights_by_address`:
    others for some clients' addresses.
    """

    host: str = "127.0.0.1"
    port: int = 8128
    profile: str = "PLAIN"
    greeting: bool = False
    by_address: tuple[tuple[Network, str], ...] = ()
    resume: bool = False
    resume_for: float = 600.0
    device: SerialDevice | None = None
    speaks: Speaks = Speaks.REQUESTS
    rings: int | None = None
    networks: tuple[Network, ...] | None = None
    rights: str = ""
    rights_by_address: tuple[tuple[Network, str], ...] = ()

    def profile_for(self, peer: str) -> str:
        """The profile for a client at the address `peer`."""
        return _named_for(peer, self.by_address, self.profile)

    def rights_for(self, peer: str) -> str:
        """The name of the rights of a client there that has not logged in; empty: everything."""
        return _named_for(peer, self.rights_by_address, self.rights)

    def admits(self, peer: str) -> bool:
        """Whether a client may connect from there; one at a serial device has no address and may."""
        address = plain_address(peer)
        return self.networks is None or address is None or any(address in each for each in self.networks)


def _named_for(peer: str, table: tuple[tuple[Network, str], ...], default: str) -> str:
    address = plain_address(peer)
    return next((name for network, name in table if address is not None and address in network), default)


@dataclass(frozen=True, slots=True)
class GatewaySettings:
    """The `[gateway]` table. Times in seconds."""

    urls: tuple[str, ...] = ()
    allow: tuple[str, ...] = ()
    state: str = "headrace-state"
    wait: float = 30.0
    letters: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    clients: int = 1_000
    idle: float = 3_600.0  # a client that says nothing this long gets 421
    stall: float = 60.0  # a client that reads nothing this long is cut off
    metrics: int | None = None  # a port of loopback
    members: str = "headrace-members.toml"
    per_address: int | None = None  # clients at the same time; None: as many as `clients`
    at_once: int = 256  # requests that are worked on
    queue: int | None = None  # requests that wait for their turn; None: as many as `clients`


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything. Names are upper case; secrets are resolved and kept out of repr().

    `phones` are the phone book: a number, in digits, and the name of the place that it calls. `reserved` are
    the ports for calls in. `members` may log in.
    `filename` is the file's name as it was given. `origins` are the hosts and ports that it names, by the
    protocol that it names them for: they may be loopback or private. `tables` are the charsets that profiles
    have from files, as settings hold them, by the words that SET takes: `file:PATH` as written, and
    `table:NAME` with a profile's name in lower case.
    """

    gateway: GatewaySettings = GatewaySettings()
    listeners: tuple[Listener, ...] = (Listener(),)
    places: Mapping[str, Place] = field(default_factory=lambda: MappingProxyType({}))
    sources: Mapping[str, Source] = field(default_factory=lambda: MappingProxyType({}))
    phones: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    reserved: Mapping[int, ReservedPort] = field(default_factory=lambda: MappingProxyType({}))
    profiles: Mapping[str, Settings] = field(default_factory=lambda: PROFILES)
    rights: Mapping[str, Rights] = field(default_factory=lambda: MappingProxyType({}))
    members: Mapping[str, Member] = field(default_factory=lambda: MappingProxyType({}), repr=False)
    tables: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}), repr=False)
    secrets: Mapping[SecretRef, str] = field(default_factory=lambda: MappingProxyType({}), repr=False)
    filename: str = field(default="", compare=False)
    origins: Mapping[str, frozenset[Origin]] = field(default_factory=lambda: MappingProxyType({}))

    def origins_for(self, scheme: str) -> frozenset[Origin]:
        """Those that a call of that scheme may go to, wherever they are.

        Not others: a redirect to a port of another protocol would have an HTTP request taken for commands.
        """
        return self.origins.get(protocol(scheme), frozenset())

    @property
    def watched(self) -> tuple[str, ...]:
        """Paths whose change asks for a reload: the file, its `file:` secrets, certificates and tables."""
        named = (*(each.text for each in self.secrets), *self.tables)
        files = {each.removeprefix("file:") for each in named if each.startswith("file:")}
        holders: tuple[Source | Place, ...] = (*self.sources.values(), *self.places.values())
        files.update(each.ca for each in holders if each.ca)
        return (*([self.filename] if self.filename else []), *sorted(files))
