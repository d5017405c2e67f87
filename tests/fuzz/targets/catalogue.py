"""A catalogue's TOML: any bytes that are UTF-8, or are made so.

Invariant: CatalogueFaults is all that is raised; every mistake stands in the file and is told in printable
lines that do not show a secret; CR LF and a byte order mark change nothing; and of a catalogue without
mistakes every record fits, and every client program is ASCII lines or NotPossible.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from adapters import limits
from adapters.errors import NotPossible
from gateway.catalogue.document.mistakes import CatalogueFaults
from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue
from gateway.listings.program import task_of
from gateway.listings.writers import WRITERS
from gateway.wire.settings import Settings
from tests.fuzz.inputs import literals
from tests.gateway.catalogue.example import TEXT

SECRET: Final = "tr0ubador-9"
_SECRETS: Final[Mapping[str, str]] = {"env:KEY": "k-1234", "env:CLUB": "c", "file:keys/club": "p-5678\n"}
_OPENLY: Final = re.compile(rf"^[ \t]*(?:secret|password)[ \t]*=[ \t]*([\"']){SECRET}\1[ \t]*$", re.MULTILINE)
_MACHINE: Final = Settings(cols=40, most=255, window=1)


def _loaded(text: str) -> Catalogue | CatalogueFaults:
    try:
        return load_catalogue(text, "harbour.toml", _SECRETS.get)
    except CatalogueFaults as faults:
        return faults


def _check_faults(faults: CatalogueFaults, text: str) -> None:
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").split("\n")
    assert faults.mistakes
    assert len(faults.text) == len("\n".join(lines))
    for each in faults.mistakes:
        assert 1 <= each.line <= len(lines)
        assert 1 <= each.column <= len(lines[each.line - 1]) + 1
        assert each.length >= 1
        assert each.key
        assert each.found
        assert each.allowed
    rendered = faults.render()
    assert all(each.isprintable() or each in "\n\t" for each in rendered)
    if SECRET in text and len(_OPENLY.findall(text)) == text.count(SECRET):
        assert SECRET not in rendered


def _check_catalogue(catalogue: Catalogue) -> None:
    for name, source in catalogue.sources.items():
        assert re.fullmatch(rf"[A-Z0-9-]{{1,{limits.NAME_CHARACTERS}}}", name)
        assert 1 <= source.plan.width <= limits.RECORD_WIDTH
        for writer in WRITERS.values():
            settings = replace(_MACHINE, eol="cr")
            try:
                program = writer.write(task_of(source, "SET plain", settings))
            except NotPossible:
                continue
            assert program.isascii()
            assert program.endswith("\n")
            assert all(each.isprintable() for each in re.split("[\n\t]", program))


def check(data: bytes) -> None:
    """See the module's text."""
    text = data.decode("utf-8", errors="replace")
    found = _loaded(text)
    other = _loaded("\ufeff" + text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\n", "\r\n"))
    if isinstance(found, CatalogueFaults):
        assert isinstance(other, CatalogueFaults)
        assert other.mistakes == found.mistakes
        _check_faults(found, text)
    else:
        assert isinstance(other, Catalogue)
        assert other.sources.keys() == found.sources.keys()
        assert other.places == found.places
        _check_catalogue(found)


def seeds() -> Iterator[bytes]:
    """The complete example, its parts, and what the catalogue's tests have."""
    yield TEXT.encode()
    for part in re.split(r"\n(?=\[(?!\[source))", TEXT):
        yield part.encode()
    yield f'[place.a]\nbase = "ftp://a.example/"\nuser = "u"\nsecret = "{SECRET}"\n'.encode()
    yield f'[place.a]\nbase = "ftp://a.example/"\nuser = "u"\npassword = "{SECRET}"\n'.encode()
    for each in literals("gateway/catalogue"):
        if b"=" in each or b"[" in each:
            yield each
