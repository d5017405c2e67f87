"""Which of Python's codecs are charsets: decided by their modules, proved here by what they do."""

import codecs
import encodings
import pkgutil
from encodings.aliases import aliases

import pytest

from adapters.errors import WrongWords
from gateway.wire.tables import installed
from gateway.wire.tables.charset import ASCII, UNDEFINED
from gateway.wire.tables.installed import (
    installed_characters,
    installed_name,
    installed_names,
    is_installed,
)

ONE_BYTE = {  # a selection, as the standard library's table "Standard Encodings" names them
    *("ascii", "latin1", "cp437", "cp1252", "cp1258", "koi8-r", "koi8-u", "mac-roman", "mac-greek"),
    *("iso8859-2", "iso8859-6", "iso8859-8", "iso8859-16", "tis-620", "hp-roman8", "ptcp154", "kz1048"),
    *("cp037", "cp500", "cp273", "cp424", "cp1026", "cp1140"),
}
REFUSED = [
    *("shift_jis", "shift_jisx0213", "cp932", "big5", "big5hkscs", "gbk", "gb18030", "euc_jp", "euc_kr"),
    *("johab", "cp949", "cp950", "hz", "iso2022_jp", "iso2022_kr", "utf-7", "utf-8", "utf-8-sig"),
    *("utf-16", "utf-16-le", "utf-32", "idna", "punycode", "unicode_escape", "raw_unicode_escape"),
    *("rot13", "hex", "base64", "zlib", "bz2", "quopri", "uu", "undefined", "charmap", "mbcs", "oem"),
]


def test_the_charsets_that_everybody_knows_are_among_them() -> None:
    assert set(installed_names()) >= ONE_BYTE
    assert len(installed_names()) > 60


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name: str) -> None:
    assert is_installed(name)
    with pytest.raises(WrongWords, match="Not a charset of one byte a character"):
        installed_name(name)
    with pytest.raises(LookupError):
        installed_characters(name)


@pytest.mark.parametrize("name", ["koi9", "", "os", "../x", "x" * 255, "latin-é", "file:table", "a=b"])
def test_not_there(name: str) -> None:
    assert not is_installed(name)
    with pytest.raises(WrongWords, match="No such charset"):
        installed_name(name)


@pytest.mark.parametrize("name", installed_names())
def test_one_byte_is_one_character_whatever_stands_beside_it(name: str) -> None:
    """All pairs of bytes, through Python's own decoder: no shifting, no lead bytes, no escapes."""
    characters = installed_characters(name)
    known = [byte for byte in range(256) if characters[byte] != "\ufffe"]
    pairs = bytes(each for first in known for second in known for each in (first, second))
    assert pairs.decode(name) == "".join(characters[each] for each in pairs)
    for byte in set(range(256)) - set(known):
        for other in range(256):
            with pytest.raises(UnicodeDecodeError):
                bytes((byte, other)).decode(name)


@pytest.mark.parametrize("name", installed_names())
def test_a_name_is_its_own_and_python_s(name: str) -> None:
    assert installed_name(name) == installed_name(name.upper().replace("-", "_")) == name
    assert codecs.lookup(name)


def test_aliases_lead_to_the_codec_that_python_has_for_them() -> None:
    for alias, module in aliases.items():
        try:
            name = installed_name(alias)
        except WrongWords:
            continue
        assert codecs.lookup(alias).name == codecs.lookup(name).name, (alias, module)


def test_none_that_python_installs_is_forgotten() -> None:
    """A codec is refused only where a byte is not always a character. (charmap is latin1 without a table.)"""
    for module in sorted({each.name for each in pkgutil.iter_modules(encodings.__path__)} - {"charmap"}):
        try:
            installed_name(module)
        except WrongWords:
            assert not _looks_like_a_table(module), module


def _looks_like_a_table(name: str) -> bool:
    """Whether a text codec has all printable ASCII, a byte each, and no pair that is no two characters."""
    try:
        if bytes(range(0x20)).decode(name) != "".join(map(chr, range(0x20))):
            return False
        alone = [bytes((byte,)).decode(name, "replace") for byte in range(256)]
        pairs = [(bytes((one, two)), alone[one] + alone[two]) for one in range(256) for two in range(256)]
        escaped = b"\\u0041".decode(name) != "\\u0041"
        return not escaped and all(pair.decode(name, "replace") == both for pair, both in pairs)
    except (LookupError, UnicodeError):
        return False


def test_one_that_lacks_what_the_protocol_is_made_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """None of Python 3.11's does: so a codec that a later one may bring is made up."""
    monkeypatch.setattr(installed, "_characters", lambda module: ASCII.replace("7", UNDEFINED))
    with pytest.raises(WrongWords, match=r"^The charset lacks 7$"):
        installed_name("cp437")
