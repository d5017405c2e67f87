"""The keys of `[place.NAME]` and `[phone.NUMBER]`: see `keys`."""

from typing import Final

from gateway.catalogue.keys.key import SCHEMES, SECRET_HOME, Key, Shape, words_of
from gateway.catalogue.model import LineEnd, Place

_S = Shape
_PLACE = Place("", "")

PLACE_KEYS: Final[tuple[Key, ...]] = (
    Key(
        "place",
        "base",
        _S.TEXT,
        "The root that its paths are below",
        note="a URL: " + " ".join(SCHEMES),
        required=True,
        also=("url", "root"),
    ),
    Key("place", "user", _S.TEXT, "Who the gateway is there", also=("username", "login")),
    Key("place", "secret", _S.TEXT, "Its password", note=SECRET_HOME, also=("password", "token")),
    Key("place", "write", _S.FLAG, "Whether clients may change things there", "false", also=("writable",)),
    Key(
        "place",
        "ca",
        _S.TEXT,
        "Trusted certificates instead of the usual ones",
        note="the path of a PEM file",
    ),
    Key(
        "place",
        "index",
        _S.WORD,
        "html: its folders are index pages; for http and https",
        words=("html",),
        also=("listing", "pages"),
    ),
    Key(
        "place",
        "lines",
        _S.WORD,
        "What ends each line of a text stored there, or sent on a stream",
        f"{LineEnd.LF.value}; {LineEnd.CRLF.value} on a stream",
        words=words_of(LineEnd),
        also=("eol", "newline"),
    ),
    Key(
        "place",
        "charset",
        _S.TEXT,
        "How text is coded on a stream",
        _PLACE.charset,
        note="a charset by its usual name, such as utf-8, iso-8859-1 or cp437",
        also=("encoding",),
    ),
    Key("place", "raw", _S.FLAG, "Whether a stream's bytes stay as they are", "false", also=("binary",)),
    Key(
        "phone",
        "dial",
        _S.TEXT,
        "The place that it calls",
        note="the name of a place; one with documents is called at its counter",
        required=True,
        also=("place", "call"),
    ),
)
