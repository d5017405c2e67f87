"""Every key of the catalogue file, in one table: what it takes, its default, its meaning.

The table drives the reader (unknown keys, types, ranges, words, required keys, options that fit a field's
kind), `headrace check --explain` and the tables of the README. A key that is not here cannot be read.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from adapters import limits
from gateway.catalogue.keys.field_keys import FIELD_KEYS
from gateway.catalogue.keys.key import METHODS, SECRET_HOME, TABLES, Key, Shape, words_of
from gateway.catalogue.keys.listener_keys import LISTENER_KEYS
from gateway.catalogue.keys.place_keys import PLACE_KEYS
from gateway.catalogue.keys.rights_keys import RIGHTS_KEYS
from gateway.catalogue.model import ArgKind, GatewaySettings
from gateway.extract.plan import Format
from gateway.wire.settings import SETTINGS

_YEAR = 366 * 86_400
_DEFAULT = GatewaySettings()
_S = Shape
_KEYS: tuple[Key, ...] = (
    Key("", "gateway", _S.TABLE, "The gateway itself"),
    Key("", "listen", _S.TABLES, "Addresses to listen at", "one, as each key says"),
    Key("", "place", _S.TABLE, "Named roots of refs: [place.NAME]", also=("places",)),
    Key("", "phone", _S.TABLE, "Numbers that modem programs dial: [phone.NUMBER]", also=("phones",)),
    Key("", "hear", _S.TABLE, "Ports reserved for calls in: [hear.PORT]", also=("ports", "calls")),
    Key("", "rights", _S.TABLE, "What clients may do: [rights.NAME]", also=("permissions", "right")),
    Key("", "source", _S.TABLE, "Named questions: [source.NAME]", also=("sources",)),
    Key("", "profile", _S.TABLE, "What a client's machine can take: [profile.NAME]", also=("profiles",)),
    Key("gateway", "urls", _S.LIST, "Hosts whose URLs a client may type", "[]", note="hosts, or *.example"),
    Key(
        "gateway",
        "allow",
        _S.LIST,
        "Where the gateway may go beyond public addresses and what this file names",
        "[]",
        note="addresses, networks as 192.0.2.0/24, or hosts",
    ),
    Key("gateway", "state", _S.TEXT, "The folder for cache and spool", _DEFAULT.state),
    Key(
        "gateway",
        "wait",
        _S.DURATION,
        "Every request is answered within this",
        f"{_DEFAULT.wait:.0f}",
        low=1,
        high=3_600,
        also=("timeout",),
    ),
    Key(
        "gateway",
        "letters",
        _S.TABLE,
        "Own spellings",
        "{}",
        note='one character = printable ASCII, as "ü" = "ue"',
    ),
    Key(
        "gateway",
        "clients",
        _S.INTEGER,
        "Clients at the same time",
        str(_DEFAULT.clients),
        low=1,
        high=100_000,
    ),
    Key(
        "gateway",
        "idle",
        _S.DURATION,
        "A client that says nothing this long gets 421",
        f"{_DEFAULT.idle:.0f}",
        low=1,
        high=_YEAR,
    ),
    Key(
        "gateway",
        "stall",
        _S.DURATION,
        "A client that reads nothing this long is cut off",
        f"{_DEFAULT.stall:.0f}",
        low=1,
        high=_YEAR,
    ),
    Key(
        "gateway",
        "metrics",
        _S.INTEGER,
        "The port of loopback at which Prometheus may collect numbers",
        "none",
        low=1,
        high=65_535,
        also=("prometheus",),
    ),
    Key(
        "gateway",
        "members",
        _S.TEXT,
        "The file of who may log in, which `headrace member` writes",
        _DEFAULT.members,
        note="the path of a TOML file",
        also=("users", "logins"),
    ),
    Key(
        "gateway",
        "per_address",
        _S.INTEGER,
        "Clients at the same time from one address",
        "as many as clients",
        low=1,
        high=100_000,
    ),
    Key(
        "gateway",
        "at_once",
        _S.INTEGER,
        "Requests that are worked on at the same time, a quarter of them at one far server",
        str(_DEFAULT.at_once),
        low=1,
        high=100_000,
        also=("requests", "in_flight"),
    ),
    Key(
        "gateway",
        "queue",
        _S.INTEGER,
        "Requests that may wait for that; one more gets 421",
        "as many as clients",
        low=0,
        high=100_000,
    ),
    *LISTENER_KEYS,
    *RIGHTS_KEYS,
    *PLACE_KEYS,
    Key("source", "about", _S.TEXT, "What SOURCES says of it", also=("description", "title")),
    Key(
        "source",
        "url",
        _S.TEXT,
        "What to fetch; {arg} is RFC 6570",
        note="a URL or place:path",
        required=True,
        also=("uri", "address", "href"),
    ),
    Key(
        "source",
        "args",
        _S.LIST,
        "What a client types after the source's name, in order",
        "[]",
        note='"name", ' + " or ".join(f'"name:{each.value}"' for each in ArgKind if each is not ArgKind.TEXT),
        also=("arguments", "params", "parameters"),
    ),
    Key(
        "source",
        "choices",
        _S.TABLE,
        "What may be typed for an arg, and what the server wants",
        note="{ arg = { typed = wanted } }",
    ),
    Key(
        "source",
        "format",
        _S.WORD,
        "How the document is read",
        "auto",
        words=words_of(Format),
        also=("type",),
    ),
    Key(
        "source",
        "rows",
        _S.TEXT,
        "Where the rows are",
        "$ or /*",
        note="JSONPath, or XPath 1.0 for xml and html, or nothing for csv",
        also=("items", "records"),
    ),
    Key(
        "source",
        "keep",
        _S.DURATION,
        "Fresh this long",
        "what the server says",
        high=10 * _YEAR,
        also=("ttl", "fresh", "cache"),
    ),
    Key(
        "source",
        "stale",
        _S.DURATION,
        "May be served this long, marked S, when the far server fails",
        "0",
        high=10 * _YEAR,
    ),
    Key(
        "source",
        "auth",
        _S.TABLE,
        "Who the gateway is there",
        note='{ header = NAME, secret = "env:..." }, or basic = USER, bearer = true, query = NAME',
        also=("credentials",),
    ),
    Key(
        "source",
        "ca",
        _S.TEXT,
        "Trusted certificates instead of the usual ones",
        note="the path of a PEM file",
    ),
    Key(
        "source",
        "method",
        _S.WORD,
        "The HTTP method; all but GET change something, so TELL asks them",
        "GET",
        words=METHODS,
    ),
    Key(
        "source",
        "headers",
        _S.TABLE,
        "Header fields to send; values may hold {arg}",
        "{}",
        note="{ Name = text }",
    ),
    Key(
        "source",
        "body",
        _S.MIXED,
        "What to send; texts may hold {arg}, escaped for the body's kind",
        note='a table (sent as JSON or a form), a text (XML or plain), or "lines"',
        also=("data", "payload", "json"),
    ),
    Key("source", "send", _S.WORD, "How a body that is a table is sent", "json", words=("json", "form")),
    Key(
        "source",
        "namespaces",
        _S.TABLE,
        "XML prefixes beside atom, dc, media, content",
        "{}",
        note="{ prefix = URI }",
        also=("ns", "xmlns"),
    ),
    Key(
        "source",
        "distinct",
        _S.FLAG,
        "Whether a record that was there already is dropped",
        "false",
        also=("unique",),
    ),
    Key("source", "sort", _S.TEXT, "The field to sort by, unrounded", note="a field's name", also=("order",)),
    Key("source", "descending", _S.FLAG, "Whether the greatest comes first", "false", also=("reverse",)),
    Key(
        "source",
        "limit",
        _S.INTEGER,
        "The most records; more sets L",
        "all",
        low=1,
        high=limits.ROWS,
        also=("most", "count", "max"),
    ),
    Key("source", "gap", _S.INTEGER, "Blanks between fields", "1", high=limits.RECORD_WIDTH - 2),
    Key("source", "field", _S.TABLES, "The columns of a record", required=True, also=("fields", "columns")),
    Key("auth", "header", _S.TEXT, "A header field of this name holds the secret", note="a header's name"),
    Key("auth", "basic", _S.TEXT, "This user, with the secret as password (RFC 7617)", note="a user's name"),
    Key("auth", "bearer", _S.FLAG, "The secret is a bearer token (RFC 6750)", note="true"),
    Key(
        "auth", "query", _S.TEXT, "A query parameter of this name holds the secret", note="a parameter's name"
    ),
    Key(
        "auth",
        "secret",
        _S.TEXT,
        "The secret",
        note=SECRET_HOME,
        required=True,
        also=("password", "token", "key", "value"),
    ),
    *FIELD_KEYS,
    *(
        Key("profile", each.name, _S.SETTING, each.meaning, each.default, note=each.values)
        for each in SETTINGS.values()
    ),
)

KEYS: Final[Mapping[str, Mapping[str, Key]]] = MappingProxyType(
    {table: MappingProxyType({each.name: each for each in _KEYS if each.table == table}) for table in TABLES}
)
"""Table -> name -> Key, in the order of the explanation."""
