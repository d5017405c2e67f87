"""`charset` of a profile -> a word that SET takes; the mapping file of `file:PATH` is read and checked."""

import re
from types import MappingProxyType
from typing import Final

from adapters.errors import WrongWords
from gateway.catalogue.document.mistakes import nearest, printable
from gateway.catalogue.schema.report import shown
from gateway.catalogue.schema.table import Table
from gateway.wire.charsets import CASE_SWAP, charset_name, table_charset
from gateway.wire.tables.installed import installed_names, is_installed
from gateway.wire.tables.mapping import read_mapping

_ANY_FILE: Final = re.compile(r"\s*file\s*:(.*)", re.IGNORECASE)
_WRITTEN: Final = "file:"


class Charsets:
    """The charsets of one file's profiles. `tables`: those of files, by the words that a client may type."""

    def __init__(self) -> None:
        self.tables: dict[str, str] = {}
        self._faulty: set[str] = set()

    def accepts(self, table: Table, profile: str, word: str) -> bool:
        """Whether `word`, the charset of `profile`, can be used; what is wrong with it is reported."""
        named_file = _ANY_FILE.match(word)
        if named_file is not None:
            return self._accepts_file(table, profile, word, named_file[1].strip())
        try:
            charset_name(word, MappingProxyType({}))
        except WrongWords:
            found = shown(table.mixed("charset"))
            if is_installed(word):
                found += ", which has not one byte a character"
            table.wrong("charset", found, nearest(word, [*installed_names(), CASE_SWAP]))
            return False
        return True

    def _accepts_file(self, table: Table, profile: str, word: str, path: str) -> bool:
        if not path or not word.isprintable():
            table.wrong("charset", f"no usable name after {_WRITTEN}")
            return False
        if word != _WRITTEN + path:
            table.wrong("charset", shown(word), _WRITTEN + printable(path))
            return False
        if word not in self.tables and word not in self._faulty:
            self._read(table, profile, word, path)
        if word in self._faulty:
            return False
        self.tables[f"table:{profile.lower()}"] = self.tables[word]
        return True

    def _read(self, table: Table, profile: str, word: str, path: str) -> None:
        text = table.report.read_table(path)
        if text is None:
            table.wrong(
                "charset", f"{shown(word)}, which is no file that can be read", allowed="an ordinary file"
            )
            self._faulty.add(word)
            return
        characters, faults = read_mapping(text)
        for each in faults:
            where = f"line {each.line} of {printable(path)}" if each.line else printable(path)
            table.wrong("charset", f"{where}: {printable(each.found)}", allowed=each.allowed)
        if faults:
            self._faulty.add(word)
        else:
            self.tables[word] = table_charset(profile, characters)
