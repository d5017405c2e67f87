"""[rights.NAME] -> what clients may do who are given these rights."""

import re
from collections.abc import Collection
from typing import Final

from gateway.catalogue.access import ALL, Rights
from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.schema.names import named_tables
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table

_PATTERN: Final = re.compile(r"[A-Za-z0-9*-]+")
_HOST: Final = re.compile(r"[A-Za-z0-9*.:-]+")


def read_rights(top: Table) -> dict[str, Rights]:
    """All rights by name in upper case. A name in a list that is neither a pattern nor there is a mistake."""
    sources, places, reserved = (_there(top, each) for each in ("source", "place", "hear"))
    found: dict[str, Rights] = {}
    for name, path, values in named_tables(top, "rights"):
        table = Table(top.report, "rights", path, values)
        found[name] = Rights(
            sources=_names(table, "sources", sources, ALL),
            places=_names(table, "places", places, ALL),
            write=_names(table, "write", {*sources, *places}, ()),
            streams=_names(table, "streams", {*places, *reserved}, ()),
            urls=_hosts(table),
            requests=table.integer("requests") or 0,
            bytes=table.integer("bytes") or 0,
            rate=table.integer("rate") or 0,
        )
    return found


def _there(top: Table, key: str) -> frozenset[str]:
    """The names below `key`, in upper case, whatever is wrong with what they name."""
    return frozenset(each.upper() for each in top.table(key) or {})


def _names(table: Table, key: str, known: Collection[str], default: tuple[str, ...]) -> tuple[str, ...]:
    if key not in table:
        return default
    names: list[str] = []
    for path, text in table.texts(key):
        name = text.upper().removesuffix(":")
        if _PATTERN.fullmatch(name) is None:
            table.report.at_value(path, shown(text), "a name, or * for any text")
        elif "*" not in name and name not in known and _intact(table):
            near = nearest(name, known).lower()
            table.report.at_value(path, f"{shown(text)}, which is not there", _those(known), near)
        names.append(name)
    return tuple(names)


def _intact(table: Table) -> bool:
    return all(table.report.intact((each,)) for each in ("source", "place", "hear"))


def _those(known: Collection[str]) -> str:
    return " ".join(sorted(each.lower() for each in known)) or "* for any text; this file names none"


def _hosts(table: Table) -> tuple[str, ...]:
    hosts: list[str] = []
    for path, text in table.texts("urls"):
        if _HOST.fullmatch(text) is None:
            table.report.at_value(path, shown(text), "a host, or * for any text")
        hosts.append(text.lower())
    return tuple(hosts)
