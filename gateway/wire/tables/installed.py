"""a codec's name -> the 256 characters of its table, where it has one byte a character.

The codecs are those that Python installs (its package `encodings`): a finite list, so that no name that a
client makes up is looked for on disk or remembered. One has a table where its module says so: that is what
tells those of one byte a character from those of several, which would otherwise have to be proved byte by
byte, and from those that shift between tables, escape, or encode something other than text.
"""

import encodings
import importlib
import pkgutil
from encodings.aliases import aliases
from functools import cache
from typing import Final

from adapters.errors import WrongWords
from gateway.wire.tables.charset import ASCII, CODES, UNDEFINED, lacking

_NAMES: Final = {"ascii": "ascii", "latin_1": "latin1", "iso8859_1": "latin1"}
"""Module -> how its charset is called here, where that is not the module's own name."""


def installed_name(word: str) -> str:
    """The one name of a charset that `word` names in any case and by any alias, such as `koi8-r`.

    WrongWords where no codec is so named, or it cannot be used.
    """
    module = _module(word)
    if module is None:
        raise WrongWords("No such charset; see HELP CHARSET")
    characters = _characters(module)
    if characters is None:
        raise WrongWords("Not a charset of one byte a character")
    missing = lacking(characters)
    if missing:
        raise WrongWords(f"The charset lacks {missing}")
    return _NAMES.get(module, module.replace("_", "-"))


def is_installed(word: str) -> bool:
    """Whether a codec is so named, whatever it does."""
    return _module(word) is not None


def installed_characters(name: str) -> str:
    """The 256 characters of a charset; LookupError where no codec of that name has a table."""
    module = _module(name)
    characters = None if module is None else _characters(module)
    if characters is None:
        raise LookupError(name)
    return characters


@cache
def installed_names() -> tuple[str, ...]:
    """All charsets that `installed_name` gives, sorted. The first call imports a hundred small modules."""
    found = {_NAMES.get(each, each.replace("_", "-")) for each in sorted(_modules()) if _usable(each)}
    return tuple(sorted(found))


def _usable(module: str) -> bool:
    characters = _characters(module)
    return characters is not None and not lacking(characters)


@cache
def _modules() -> frozenset[str]:
    return frozenset(each.name for each in pkgutil.iter_modules(encodings.__path__))


def _module(word: str) -> str | None:
    """The module of `encodings` that a codec's name stands for, as `codecs.lookup` finds it."""
    if not word.isascii():
        return None
    name = encodings.normalize_encoding(word).lower()
    module = aliases.get(name) or aliases.get(name.replace(".", "_")) or name
    return module if module in _modules() else None


@cache
def _characters(module: str) -> str | None:
    if module == "ascii":
        return ASCII
    if module == "latin_1":
        return "".join(map(chr, range(CODES)))
    try:
        table = getattr(importlib.import_module(f"encodings.{module}"), "decoding_table", None)
    except ImportError:  # a codec of another operating system
        return None
    return table.ljust(CODES, UNDEFINED) if isinstance(table, str) and len(table) <= CODES else None
