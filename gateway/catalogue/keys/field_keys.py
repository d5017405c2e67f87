"""The keys of `[[source.NAME.field]]`: see `keys`."""

from typing import Final

from adapters import limits
from gateway.catalogue.keys.key import DATES, Key, Shape, words_of
from gateway.extract.plan import Align, Cut, Fold, Kind

_S = Shape
_NUMERIC = frozenset({Kind.INT, Kind.FIXED, Kind.HEX, Kind.TEXT, Kind.CODE})
_FREE = frozenset(Kind) - {Kind.HEX}

FIELD_KEYS: Final[tuple[Key, ...]] = (
    Key(
        "field",
        "name",
        _S.TEXT,
        "What LAYOUT calls it",
        note=f"1 to {limits.NAME_CHARACTERS} printable ASCII characters",
        required=True,
        also=("title", "label"),
    ),
    Key(
        "field",
        "at",
        _S.MIXED,
        "Where its value is, from the row; of several paths the first hit wins",
        "the row itself",
        note="a path, a list of paths, or a CSV column's number",
        also=("path", "select", "xpath", "jsonpath", "value", "column"),
    ),
    Key("field", "kind", _S.WORD, "How its value is laid out", "text", words=words_of(Kind), also=("type",)),
    Key(
        "field",
        "width",
        _S.INTEGER,
        "Its characters",
        "date 10, time 5, flag 1",
        low=1,
        high=limits.RECORD_WIDTH,
        also=("length", "size", "chars"),
    ),
    Key(
        "field",
        "decimals",
        _S.INTEGER,
        "Digits after the point, rounded half away from zero",
        "2",
        high=limits.RECORD_WIDTH - 2,
        kinds=frozenset({Kind.FIXED}),
        also=("digits", "precision", "places"),
    ),
    Key(
        "field",
        "scale",
        _S.DECIMAL,
        "The number is multiplied by this, exactly",
        "1",
        kinds=_NUMERIC,
        also=("factor", "multiply"),
    ),
    Key("field", "offset", _S.DECIMAL, "Then this is added, exactly", "0", kinds=_NUMERIC, also=("add",)),
    Key(
        "field",
        "align",
        _S.WORD,
        "Which edge the value stands at",
        "left; numbers and flags right",
        words=words_of(Align),
        kinds=_FREE,
        also=("justify",),
    ),
    Key(
        "field",
        "fill",
        _S.TEXT,
        "What fills the rest of the width",
        '" "',
        note="one printable ASCII character",
        kinds=_FREE,
        also=("pad", "padding"),
    ),
    Key(
        "field",
        "missing",
        _S.TEXT,
        "What stands for a value that is not there",
        '""',
        note="printable text that fits the width",
        also=("default", "empty"),
    ),
    Key("field", "null", _S.TEXT, "What stands for null", '"-"', note="printable text that fits the width"),
    Key(
        "field", "map", _S.TABLE, "Values replaced by others", "{}", note="{ sent = shown }", also=("values",)
    ),
    Key(
        "field",
        "in",
        _S.TEXT,
        "How the date is read",
        "RFC 3339, ISO 8601, RFC 5322, epochs",
        note="a strftime pattern",
        kinds=DATES,
        also=("input", "parse"),
    ),
    Key(
        "field",
        "out",
        _S.TEXT,
        "How the date is written",
        "%Y-%m-%d; time %H:%M, from width 8 %H:%M:%S",
        note="a strftime pattern",
        kinds=DATES,
        also=("output", "format", "pattern"),
    ),
    Key(
        "field",
        "zone",
        _S.TEXT,
        "The time zone it is written in",
        "the session's",
        note="an IANA name",
        kinds=DATES,
        also=("timezone", "tz"),
    ),
    Key(
        "field",
        "cut",
        _S.WORD,
        "Where text that is too long loses: its end, its start, or its last words",
        "end",
        words=words_of(Cut),
        kinds=frozenset({Kind.TEXT}),
        also=("truncate", "trim"),
    ),
    Key("field", "required", _S.FLAG, "Whether a row without the value makes the reply 551", "false"),
    Key(
        "field",
        "fold",
        _S.WORD,
        "One record for all rows; then every field folds",
        words=words_of(Fold),
        also=("aggregate", "group"),
    ),
)
