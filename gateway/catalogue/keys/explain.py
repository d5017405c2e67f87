"""the keys -> what `headrace check --explain` prints, and the key tables of the README."""

import textwrap
from collections.abc import Sequence
from typing import Final

from gateway.catalogue.keys.key import TABLES, Key
from gateway.catalogue.keys.table import KEYS as KEYS_OF
from gateway.extract.plan import Kind

KEYS: Final[tuple[Key, ...]] = tuple(key for keys in KEYS_OF.values() for key in keys.values())
"""Every key of the file, table after table."""


def explained(columns: int = 100) -> str:
    """Every key of the file: table, key, type, default, what is allowed, meaning; wrapped to `columns`."""
    lines: list[str] = []
    for table, header in TABLES.items():
        lines += ["", header] if lines else [header]
        for key in KEYS_OF[table].values():
            text = "; ".join(part for part in _parts(key) if part)
            indent = " " * 14
            lines += textwrap.wrap(
                f"  {key.name:<11} {text}",
                max(40, columns),
                subsequent_indent=indent,
                break_long_words=False,
                break_on_hyphens=False,
            )
    return "\n".join(lines)


def _parts(key: Key) -> Sequence[str]:
    need = "must be there" if key.required else f"default {key.default}" if key.default else ""
    allowed = "" if key.allowed == key.shape.value else key.allowed
    return key.meaning, key.shape.value, allowed, need, _kinds(key)


def _kinds(key: Key) -> str:
    if key.kinds is None:
        return ""
    return "with kind " + " ".join(each.value for each in Kind if each in key.kinds)


def markdown(table: str) -> str:
    """The keys of one table as a Markdown table."""
    rows = ["| key | type | default | allowed | meaning |", "| --- | --- | --- | --- | --- |"]
    for key in KEYS_OF[table].values():
        kinds = _kinds(key)
        meaning = f"{key.meaning} ({kinds})" if kinds else key.meaning
        default = "must be there" if key.required else key.default
        cells = (f"`{key.name}`", key.shape.value, default, key.allowed, meaning)
        rows.append("| " + " | ".join(_cell(each) for each in cells) + " |")
    return "\n".join(rows) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("*", "\\*").replace("<", "&lt;")
