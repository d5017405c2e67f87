"""XPath text -> tokens, each with its place, told apart as XPath 1.0 section 3.7 says.

What a name or a `*` is depends on the token before it and on the characters after it: `div` is an operator
after an operand, a function before `(`, an axis before `::`, and an element's name elsewhere.
"""

import re
from dataclasses import dataclass
from enum import Enum
from typing import Final

from adapters.errors import PathFault

AXES: Final = frozenset(
    (
        *(
            "ancestor",
            "ancestor-or-self",
            "attribute",
            "child",
            "descendant",
            "descendant-or-self",
            "following",
        ),
        *("following-sibling", "namespace", "parent", "preceding", "preceding-sibling", "self"),
    )
)
NODE_TYPES: Final = frozenset(("comment", "text", "processing-instruction", "node"))
OPERATOR_NAMES: Final = frozenset(("and", "or", "mod", "div"))

# NCName of Namespaces in XML 1.0, whose characters are those of XML 1.0 (5th edition) section 2.3.
_FIRST: Final = (
    "A-Z_a-z\u00c0-\u00d6\u00d8-\u00f6\u00f8-\u02ff\u0370-\u037d\u037f-\u1fff\u200c-\u200d\u2070-\u218f"
    "\u2c00-\u2fef\u3001-\ud7ff\uf900-\ufdcf\ufdf0-\ufffd\U00010000-\U000effff"
)
_NAME: Final = f"[{_FIRST}][-.0-9\u00b7\u0300-\u036f\u203f-\u2040{_FIRST}]*"
_TOKEN: Final = re.compile(
    rf"""
      (?P<number>  [0-9]+ (?:\.[0-9]*)? | \.[0-9]+ )
    | (?P<literal> "[^"]*" | '[^']*' )
    | (?P<mark>    :: | \.\. | // | != | <= | >= | [][()@,./|+=<>*-] )
    | (?P<any>{_NAME}):\* | (?:(?P<prefix>{_NAME}):)? (?P<local>{_NAME})
    """,
    re.VERBOSE,
)
_BLANKS: Final = re.compile(r"[ \t\r\n]*")

# After these a name or `*` begins an operand; after any other token it is an operator.
_BEFORE_OPERAND: Final = frozenset(("@", "::", "(", "[", ","))
_OPERATOR_MARKS: Final = frozenset(("/", "//", "|", "+", "-", "=", "!=", "<", "<=", ">", ">="))


class Sort(Enum):
    """What a token is."""

    MARK = "mark"  # ( ) [ ] . .. @ , ::
    OPERATOR = "operator"
    NAME_TEST = "name test"  # text is the local part, or *
    NODE_TYPE = "node type"
    FUNCTION = "function"
    AXIS = "axis"
    LITERAL = "literal"  # text is what stands between the quotes
    NUMBER = "number"
    END = "end"


@dataclass(frozen=True, slots=True)
class Token:
    """One token. `position` counts characters from 0; `prefix` is a name test's or a function's."""

    sort: Sort
    text: str
    position: int
    prefix: str | None = None


def tokenise(text: str) -> list[Token]:
    """The tokens of a path, the last one an END. Raises PathFault at the first character of none."""
    tokens: list[Token] = []
    place = _after_blanks(text, 0)
    while place < len(text):
        found = _TOKEN.match(text, place)
        if found is None:
            raise PathFault(_complaint(text, place), place)
        tokens.append(_token(found, text, tokens[-1] if tokens else None))
        place = _after_blanks(text, found.end())
    tokens.append(Token(Sort.END, "", len(text)))
    return tokens


def _token(found: re.Match[str], text: str, before: Token | None) -> Token:
    place, whole = found.start(), found[0]
    operand_ended = before is not None and not (
        before.sort is Sort.OPERATOR or (before.sort is Sort.MARK and before.text in _BEFORE_OPERAND)
    )
    if found["number"]:
        return Token(Sort.NUMBER, whole, place)
    if found["literal"]:
        return Token(Sort.LITERAL, whole[1:-1], place)
    if found["mark"]:
        if whole == "*":
            return Token(Sort.OPERATOR if operand_ended else Sort.NAME_TEST, whole, place)
        return Token(Sort.OPERATOR if whole in _OPERATOR_MARKS else Sort.MARK, whole, place)
    if found["any"]:
        return Token(Sort.NAME_TEST, "*", place, found["any"])
    return _named(found, text, operand_ended)


def _named(found: re.Match[str], text: str, operand_ended: bool) -> Token:
    place, prefix, name = found.start(), found["prefix"], found["local"]
    after = _after_blanks(text, found.end())
    if operand_ended:
        if prefix is None and name in OPERATOR_NAMES:
            return Token(Sort.OPERATOR, name, place)
        raise PathFault("An operator is missing", place)
    if text.startswith("::", after) and prefix is None:
        if name not in AXES:
            raise PathFault(f"Unknown axis {shown(name)}", place)
        return Token(Sort.AXIS, name, place)
    if text.startswith("(", after):
        sort = Sort.NODE_TYPE if prefix is None and name in NODE_TYPES else Sort.FUNCTION
        return Token(sort, name, place, prefix)
    return Token(Sort.NAME_TEST, name, place, prefix)


def _after_blanks(text: str, place: int) -> int:
    blanks = _BLANKS.match(text, place)
    return blanks.end() if blanks else place


def _complaint(text: str, place: int) -> str:
    match text[place]:
        case "$":
            return "Variables are not known here"
        case '"' | "'":
            return "A quote is not closed"
        case _:
            return "That character has no meaning here"


def shown(name: str) -> str:
    """A name from a path as it may stand in a sentence: short, and ASCII."""
    short = name if len(name) <= 20 else f"{name[:17]}..."
    return short.encode("ascii", errors="replace").decode("ascii")
