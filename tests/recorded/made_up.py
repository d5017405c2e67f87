"""Catalogues, documents and conversations, made up by Hypothesis.

a Case: documents of a place, the sources over them, and what a client types
"""

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

import tomli_w
from hypothesis import strategies as st

from tests.recorded.places import PLACES

_KEYS: Final = ("n", "level", "town", "when", "open")
_NAMES: Final[Mapping[str, tuple[str, ...]]] = {
    "json": ("rows.json", "two words.json", "100%.json"),
    "xml": ("rows.xml", "a+b&c.xml"),
    "csv": ("rows.csv", "m\u00f6we.csv"),
}
_TEXTS: Final = ("note.txt", "sub/deep.txt", "page.html", "bytes.bin")


@dataclass(frozen=True, slots=True)
class Case:
    """`documents`: path in the place -> bytes. `sources` is a part of a catalogue, `requests` are lines."""

    scheme: str
    documents: Mapping[str, bytes]
    sources: str
    requests: tuple[str, ...]


_words = st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S", "Zs"]), max_size=30)
_towns = st.sampled_from(["Quay", "Mole", "  Bar ", "Möwe, 'the' \"gull\"", "null", "-0.0", ""]) | _words
_numbers = st.one_of(
    st.integers(-10_000, 10_000_000),
    st.decimals(-1000, 1000, places=3).map(str),
    st.sampled_from(["1e3", "-0.005", "12345678901234567890.125", "many", "0x1F", ""]),
)
_moments = st.sampled_from(
    [
        "2026-05-17T12:34:56Z",
        "2024-02-29T23:59:59+05:30",
        "17.05.2026",
        "Sun, 17 May 2026 12:00:00 GMT",
        "1779019200",
        "soon",
        "2026-05-17",
    ]
)
_rows = st.lists(
    st.fixed_dictionaries(
        {},
        optional={
            "n": st.none() | _numbers,
            "level": _numbers,
            "town": st.none() | _towns,
            "when": _moments,
            "open": st.sampled_from(["true", "false", "yes", "0", "1", ""]) | st.none(),
        },
    ),
    max_size=9,
)
_Rows = Sequence[Mapping[str, Any]]


def _json(rows: _Rows, plain: bool) -> bytes:
    """Numbers as numbers where they are some."""

    def value(given: Any) -> Any:
        try:
            return json.loads(given) if isinstance(given, str) else given
        except ValueError:
            return given

    table = {"rows": [{key: value(each) for key, each in row.items()} for row in rows]}
    return json.dumps(table, ensure_ascii=plain).encode("utf-8", "surrogatepass")


def _xml(rows: _Rows, plain: bool) -> bytes:
    lines = []
    for row in rows:
        attributes = f" n={quoteattr(str(row['n']))}" if row.get("n") is not None else ""
        inner = "".join(
            f"<{key}>{escape(str(each))}</{key}>"
            for key, each in row.items()
            if key != "n" and each is not None
        )
        lines.append(f"<row{attributes}>{inner}</row>")
    charset = "us-ascii" if plain else "utf-8"
    text = f'<?xml version="1.0" encoding="{charset}"?>\n<t>{"".join(lines)}</t>'
    return text.encode(charset, "xmlcharrefreplace")


def _csv(rows: _Rows, plain: bool) -> bytes:
    made = io.StringIO(newline="")
    writer = csv.DictWriter(made, _KEYS, restval="", dialect="excel" if plain else "unix")
    writer.writeheader()
    writer.writerows({key: "" if each is None else each for key, each in row.items()} for row in rows)
    return made.getvalue().encode()


_MAKERS: Final = {"json": _json, "xml": _xml, "csv": _csv}
_WHERE: Final[Mapping[str, Mapping[str, str]]] = {
    "json": {key: f"$.{key}" for key in _KEYS},
    "xml": {"n": "@n", **{key: key for key in _KEYS if key != "n"}},
    "csv": {key: key for key in _KEYS},
}
_PATHS: Final = {"json": "$.rows[*]", "xml": "//row"}
_KINDS: Final[Mapping[str, st.SearchStrategy[dict[str, Any]]]] = {
    "text": st.fixed_dictionaries(
        {"width": st.integers(1, 40)},
        optional={"align": st.sampled_from(["left", "right"]), "cut": st.sampled_from(["end", "word"])},
    ),
    "int": st.fixed_dictionaries(
        {"width": st.integers(1, 9)},
        optional={"fill": st.sampled_from("0 "), "scale": st.sampled_from([10, -1])},
    ),
    "fixed": st.fixed_dictionaries({"width": st.integers(5, 12)}, optional={"decimals": st.integers(1, 3)}),
    "date": st.fixed_dictionaries({"width": st.just(10)}, optional={"zone": st.just("Asia/Tokyo")}),
    "time": st.fixed_dictionaries({"width": st.sampled_from([5, 8])}),
    "flag": st.fixed_dictionaries({"width": st.integers(1, 3)}),
    "code": st.fixed_dictionaries({"width": st.integers(1, 12)}),
    "hex": st.fixed_dictionaries({"width": st.integers(1, 8)}),
}


@st.composite
def _fields(draw: st.DrawFn, form: str) -> list[dict[str, Any]]:
    keys = draw(st.lists(st.sampled_from(_KEYS), min_size=1, max_size=4, unique=True))
    fields = []
    for key in keys:
        kind = draw(st.sampled_from(sorted(_KINDS)))
        field = {"name": key.upper(), "at": _WHERE[form][key], "kind": kind, **draw(_KINDS[kind])}
        if draw(st.booleans()):
            field["missing"] = "?"
        fields.append(field)
    return fields


@st.composite
def _source(draw: st.DrawFn, form: str) -> dict[str, Any]:
    names = _NAMES[form]
    by_arg = draw(st.booleans())
    where = (
        "{which}"
        if by_arg
        else draw(st.sampled_from([each for each in names if each.isalnum()] or [names[0]]))
    )
    fields = draw(_fields(form))
    source: dict[str, Any] = {"url": f"p:{where}", "format": form, "field": fields}
    if by_arg:
        source["args"] = ["which"]
    if form in _PATHS:
        source["rows"] = _PATHS[form]
    options: dict[str, Any] = draw(
        st.fixed_dictionaries(
            {},
            optional={
                "sort": st.just(fields[0]["name"]),
                "descending": st.booleans(),
                "distinct": st.booleans(),
                "limit": st.integers(1, 6),
                "gap": st.integers(0, 3),
                "keep": st.sampled_from(["10m", "0s"]),
                "stale": st.just("1d"),
            },
        )
    )
    if "descending" in options and "sort" not in options:
        del options["descending"]
    return {**source, **options}


_SETTINGS: Final[Mapping[str, tuple[str, ...]]] = {
    "cols": ("16", "28", "32", "40", "80", "255"),
    "most": ("16", "40", "80", "255"),
    "eol": ("crlf", "cr", "lf", "9b", "none", "mirror"),
    "charset": ("ascii", "latin1", "cp437", "caseswap", "koi8-r"),
    "bits": ("7", "8"),
    "case": ("mixed", "upper"),
    "typed": ("asis", "lower"),
    "guard": ("on", "off"),
    "mark": ("on", "off"),
    "page": ("0", "1", "3", "20"),
    "window": ("0", "0", "1", "4"),
    "check": ("none", "sum", "crc"),
    "bytes": ("hex", "raw", "ihex", "line"),
    "block": ("1", "7", "128", "4096"),
    "names": ("long", "8.3"),
    "order": ("name", "size", "date", "sent"),
    "zone": ("UTC", "Europe/Lisbon", "Asia/Kathmandu"),
}
_set = st.lists(st.sampled_from(sorted(_SETTINGS)), min_size=1, max_size=4, unique=True).flatmap(
    lambda names: st.tuples(
        *(st.sampled_from([f"{name}={value}" for value in _SETTINGS[name]]) for name in names)
    )
)


def _typed(name: str) -> str:
    """As a client may type it in ASCII without quotes (CONTRACT section 1: %hh works in refs and args)."""
    return "".join(each if each.isascii() and each not in " %\"'" else _encoded(each) for each in name)


def _encoded(character: str) -> str:
    return "".join(f"%{byte:02X}" for byte in character.encode())


_ALL: Final = (*(name for names in _NAMES.values() for name in names), *_TEXTS)
_refs = st.one_of(
    st.sampled_from([f"p:{_typed(name)}" for name in _ALL]),
    st.sampled_from(["#1", "#2", "#9", "p:gone.txt", "p:new/inner.txt", "shelf:kept.txt", "rows.json"]),
)
_changed = st.sampled_from(
    [
        "p:note.txt",
        "p:rows.json",
        "p:rows.csv",
        "p:fresh.txt",
        "p:new/inner.txt",
        "shelf:kept.txt",
        "p:none/x",
    ]
)
_folders = st.sampled_from(["p:", "p:sub/", "p:new/", "p:gone/", "", "p:sub", "shelf:"])
_numbered = st.integers(0, 900)
_lines = st.lists(
    st.sampled_from([">One line", ">", '>{"rows": [{"n": 7}]}', ">.", ">n,town", ">5,Lamp"]), max_size=3
).map(tuple)


def _said(*parts: st.SearchStrategy[Any] | str) -> st.SearchStrategy[tuple[str, ...]]:
    """One line of words."""
    drawn = st.tuples(*(st.just(part) if isinstance(part, str) else part for part in parts))
    return drawn.map(lambda words: (" ".join(str(word) for word in words if word != ""),))


_asked = st.one_of(
    _said("ASK", st.sampled_from(["S1", "S2", "S3"]), st.sampled_from(["", *map(_typed, _ALL), "gone.json"])),
    _said(
        "PICK", _refs, st.sampled_from(["$.rows[*] $.n:6i $.town:9", "//row @n:6i town", "- n:5i town:12"])
    ),
    _said("LAYOUT", st.sampled_from(["S1", "S2"])),
    _said(
        st.sampled_from(["MORE", "MORE", "AGAIN", "AGAIN 2", "WHY", "WHY", "TIME", "HELP ASK", "", "HALT"])
    ),
)
_read = st.one_of(
    _said("TEXT", _refs, st.sampled_from(["", "flow"])),
    _said("READ", _refs, _numbered, _numbered),
    _said("READ", _refs, st.sampled_from(["", "B0", "B1", "B3"])),
    _said("LIST", _folders),
    _said("NAME", st.sampled_from(["#1", "#2", "#4"])),
    _said("BASE", st.sampled_from(["p:", "p:sub/", ""])),
)
_changing = st.one_of(
    st.builds(
        lambda word, ref, lines: (f"{word} {ref}", *lines, "."),
        st.sampled_from(["STORE", "APPEND"]),
        _changed,
        _lines,
    ),
    _said("COPY", _refs, _changed),
    _said("RENAME", _changed, _changed),
    _said("ERASE", _changed),
    _said("MKDIR", st.sampled_from(["p:new", "p:sub", "shelf:p"])),
    _said("ERASE", st.sampled_from(["p:new", "p:sub", "p:gone"])),
)
_setting = _set.map(lambda words: ("SET " + " ".join(words),)) | st.just(("SET plain",))
_conversations = st.lists(
    st.one_of(_asked, _asked, _read, _read, _changing, _setting), min_size=4, max_size=25
).map(lambda each: tuple(line for lines in each for line in lines))


@st.composite
def cases(draw: st.DrawFn, schemes: Sequence[str] = tuple(PLACES)) -> Case:
    """Of one place."""
    documents: dict[str, bytes] = {
        "note.txt": draw(_words).encode() + b"\r\nA note\r\n" * draw(st.integers(0, 9)),
        "sub/deep.txt": draw(st.binary(max_size=80)),
        "page.html": f"<h1>{escape(draw(_words))}</h1><p><a href='note.txt'>a</a>".encode(),
        "bytes.bin": bytes(range(256)) * draw(st.sampled_from([0, 1, 2, 3, 4, 4_700])),
    }
    for form, names in _NAMES.items():
        for name in names:
            body = _MAKERS[form](draw(_rows), draw(st.booleans()))
            if draw(st.integers(0, 9)) == 0:
                body = body[: len(body) // 2]
            documents[name] = body
    forms = draw(st.lists(st.sampled_from(sorted(_NAMES)), min_size=3, max_size=3))
    sources = {f"s{index}": draw(_source(form)) for index, form in enumerate(forms, 1)}
    return Case(
        draw(st.sampled_from(schemes)), documents, tomli_w.dumps({"source": sources}), draw(_conversations)
    )
