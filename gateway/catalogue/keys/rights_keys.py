"""The keys of `[rights.NAME]`: see `keys`."""

from typing import Final

from gateway.catalogue.keys.key import Key, Shape

_S = Shape
_NAMES = 'names, or * for any text: ["*"] is all, ["news-*"] those that begin so'

RIGHTS_KEYS: Final[tuple[Key, ...]] = (
    Key("rights", "sources", _S.LIST, "Sources that may be asked", '["*"]', note=_NAMES, also=("ask",)),
    Key("rights", "places", _S.LIST, "Places that may be read", '["*"]', note=_NAMES, also=("read",)),
    Key(
        "rights",
        "write",
        _S.LIST,
        "Of those, the sources and places that may be changed",
        "[]",
        note=_NAMES,
        also=("change", "writable"),
    ),
    Key(
        "rights",
        "streams",
        _S.LIST,
        "Places that may be talked to, and numbers of reserved ports to hear at",
        "[]",
        note=_NAMES,
        also=("talk", "hear", "calls"),
    ),
    Key(
        "rights",
        "urls",
        _S.LIST,
        "Hosts whose URLs may be typed, of those in [gateway] urls",
        "[]",
        note='hosts, or * for any text: "*.example"',
        also=("hosts",),
    ),
    Key(
        "rights",
        "rate",
        _S.INTEGER,
        "Requests a minute",
        "any number",
        low=1,
        high=100_000,
        also=("per_minute",),
    ),
    Key(
        "rights",
        "requests",
        _S.INTEGER,
        "Requests a day (UTC)",
        "any number",
        low=1,
        high=100_000_000,
        also=("per_day", "quota"),
    ),
    Key(
        "rights",
        "bytes",
        _S.INTEGER,
        "Bytes a day (UTC), both ways",
        "any number",
        low=1,
        high=1 << 50,
        also=("traffic",),
    ),
)
