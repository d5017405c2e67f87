"""XML text -> XML text without entities of its own, or WrongDocument.

Entities that a document declares are how XML documents explode or reach for other files, so a document that
declares any is refused. Documents that use the names of HTML's characters without declaring them are common:
those names are replaced here by character references (XML 1.0 section 4.1), the others are refused, since a
parser that passes over them would drop text.
"""

import re
from html.entities import html5
from typing import Final

from adapters.errors import WrongDocument

_PREDEFINED: Final = frozenset(("amp", "lt", "gt", "apos", "quot"))  # XML 1.0 section 4.6
_CLOSINGS: Final = {"<!--": "-->", "<![CDATA[": "]]>", "<?": "?>"}

_WANTED: Final = re.compile(r"&(?!(?:amp|lt|gt|apos|quot);|#)")
_PIECE: Final = re.compile(r"<!--|<!\[CDATA\[|<\?|&([^#;&<>\s][^;&<>\s]*);")
_PROLOG: Final = re.compile(r"[ \t\r\n]*(?:(<!--)|(<\?)|(<!DOCTYPE))")
_DOCTYPE_PIECE: Final = re.compile(r"<!--|<\?|<!ENTITY|[\"'\[\]>]")


def without_entities(text: str) -> str:
    """The document with HTML's named characters written as references; everything else as it was.

    `text` begins at the first character of the document. Raises WrongDocument where it declares an entity
    of any sort, uses one that nobody knows, or stops inside a comment or the like.
    """
    start = _doctype_end(text)
    if _WANTED.search(text, start) is None:
        return text
    pieces = [text[:start]]
    while piece := _PIECE.search(text, start):
        name = piece[1]
        if name is None:  # a section in which a name means nothing
            end = _closed(text, piece)
            pieces.append(text[start:end])
        else:
            end = piece.end()
            pieces += (text[start : piece.start()], piece[0] if name in _PREDEFINED else _references(name))
        start = end
    pieces.append(text[start:])
    return "".join(pieces)


def _references(name: str) -> str:
    characters = html5.get(f"{name};")
    if characters is None:
        known = f" {name}" if name.isascii() and name.isalnum() and len(name) <= 12 else ""
        raise WrongDocument(f"Entity{known} is not declared")
    # References, not the characters: some names stand for `<`, and a blank must survive in an attribute.
    return "".join(f"&#{ord(character)};" for character in characters)


def _doctype_end(text: str) -> int:
    """Where the document type declaration ends, or 0 without one."""
    start = 0
    while opening := _PROLOG.match(text, start):
        if opening[3]:
            return _declaration_end(text, opening.end())
        start = _closed(text, opening)
    return 0


def _declaration_end(text: str, start: int) -> int:
    subset = False
    while piece := _DOCTYPE_PIECE.search(text, start):
        start = piece.end()
        match piece[0]:
            case "<!ENTITY":
                raise WrongDocument("The document declares entities")
            case "<!--" | "<?":
                start = _closed(text, piece)
            case "[":
                subset = True
            case "]":
                subset = False
            case ">":
                if not subset:
                    return start
            case quote:
                end = _after(text, quote, start)
                # An attribute's default: a parser drops what it does not know there, without a word.
                if subset and _WANTED.search(text, start, end):
                    raise WrongDocument("An entity is not declared")
                start = end
    raise WrongDocument("The XML document stops too early")


def _closed(text: str, opening: re.Match[str]) -> int:
    """Where a comment, an instruction or a CDATA section ends."""
    return _after(text, _CLOSINGS[opening[0].lstrip()], opening.end())


def _after(text: str, closing: str, start: int) -> int:
    found = text.find(closing, start)
    if found < 0:
        raise WrongDocument("The XML document stops too early")
    return found + len(closing)
