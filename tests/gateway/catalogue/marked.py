"""Snippets of a catalogue with carets in them: what must be reported, and exactly where.

A line that holds only carets and words marks the line above it: each run of carets is one mistake, of exactly
that column and length, and the word after it is its nearest right word (`-` or nothing: none). So a test
reads like what the author of the file will see.
"""

import re
from collections.abc import Mapping

import pytest

from gateway.catalogue.document.mistakes import CatalogueFaults, Mistake
from gateway.catalogue.model import Catalogue
from gateway.catalogue.reading import load_catalogue

SECRETS: Mapping[str, str] = {"env:KEY": "k-1234", "file:keys/club": "p-5678\n"}
NO_SECRETS: Mapping[str, str] = {}
_MARK_LINE = re.compile(r"\s*(?:\^+(?: [^\s^]+)?\s*)+")
_MARKS = re.compile(r"(\^+)(?: ?([^\s^]+))?")

Place = tuple[int, int, int, str]
"""Line, column, length, nearest."""


def marked(snippet: str) -> tuple[str, list[Place]]:
    """The snippet without its mark lines, and what they mark."""
    lines: list[str] = []
    places: list[Place] = []
    for line in snippet.strip("\n").split("\n"):
        if _MARK_LINE.fullmatch(line):
            for match in _MARKS.finditer(line):
                near = "" if match[2] in {None, "-"} else match[2].replace("~", " ")
                places.append((len(lines), match.start(1) + 1, len(match[1]), near))
        else:
            lines.append(line)
    return "\n".join(lines) + "\n", sorted(places)


def mistakes(text: str) -> tuple[Mistake, ...]:
    """All mistakes of a text."""
    try:
        load_catalogue(text, "harbour.toml", SECRETS.get)
    except CatalogueFaults as faults:
        return faults.mistakes
    return ()


def check(snippet: str) -> tuple[Mistake, ...]:
    """Assert that exactly the marked mistakes are reported; gives them back."""
    text, places = marked(snippet)
    found = mistakes(text)
    assert sorted((each.line, each.column, each.length, each.nearest) for each in found) == places, [
        (each.line, each.column, each.length, each.key, each.found, each.nearest) for each in found
    ]
    for each in found:
        assert each.found
        assert each.allowed
        assert each.key
    return found


def load(text: str) -> Catalogue:
    """The catalogue of a text without mistakes."""
    try:
        return load_catalogue(text, "harbour.toml", SECRETS.get)
    except CatalogueFaults as faults:
        pytest.fail(faults.render())


def source(lines: str, fields: str = "", *, url: str = 'url = "https://a.example/"') -> str:
    """A source with a URL and one field, and `lines` between them."""
    return f'[source.a]\n{url}\n{lines.strip(chr(10))}\n[[source.a.field]]\nname = "X"\nwidth = 4\n{fields}'


def field(lines: str, kind: str = "text") -> str:
    """A source whose one field has `lines`, too."""
    tail = f'name = "X"\nkind = "{kind}"\n{lines.strip(chr(10))}\n'
    return f'[source.a]\nurl = "https://a.example/"\n[[source.a.field]]\n{tail}'
