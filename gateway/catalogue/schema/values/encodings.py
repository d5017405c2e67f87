"""`charset` of a stream -> Python's name for it."""

import codecs
from typing import Final

from gateway.catalogue.document.mistakes import nearest
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table

_ASCII: Final = "".join(map(chr, range(0x80)))
_USUAL: Final = ("utf-8", "iso-8859-1", "iso-8859-15", "cp437", "cp850", "cp1252", "koi8-r", "ascii")


def read_encoding(table: Table) -> str:
    """One in which ASCII has its own bytes; utf-8 where nothing, or nothing usable, is said."""
    text = table.text("charset")
    if text is None:
        return "utf-8"
    try:
        found = codecs.lookup(text)
        if found._is_text_encoding and _ASCII.encode(found.name) == _ASCII.encode("ascii"):
            return found.name
    except (LookupError, UnicodeError, ValueError):
        pass
    table.wrong("charset", f"{shown(text)}, which is no charset for a stream", nearest(text, _USUAL))
    return "utf-8"


def without_raw(table: Table, *, raw: bool) -> None:
    """Report what says something of a text where nothing is made of the bytes."""
    for key in ("charset", "lines"):
        if raw and key in table:
            table.report.at_key(table.at(key), f"{key}, with raw = true", "one of them")
