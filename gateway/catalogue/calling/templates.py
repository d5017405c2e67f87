"""URI template + values -> URI: RFC 6570, all four levels, read strictly.

`uritemplate` expands each expression; it takes nearly any text for a template, so the grammar of RFC 6570
section 2 is checked here. A single quote in a literal is accepted, as most implementations do and OData needs
(the grammar leaves it out; from memory, an erratum asks for it). Two things are done here because the package
does not: literals beyond ASCII are percent-encoded (section 3.1), and in `{+x}` and `{#x}` a value that holds
some percent-encoded triplets has its other characters encoded all the same (section 3.2.1).
"""

import re
import urllib.parse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import uritemplate

from gateway.catalogue.document.mistakes import TextFault, character

TemplateValue: TypeAlias = str | Sequence[str] | Mapping[str, str]

_JOINS: Final = {
    "": ("", ","),
    "+": ("", ","),
    "#": ("#", ","),
    ".": (".", "."),
    "/": ("/", "/"),
    ";": (";", ";"),
    "?": ("?", "&"),
    "&": ("&", "&"),
}
"""Operator -> what its expansion begins with, and what stands between variables (appendix A)."""

_RESERVED: Final = ":/?#[]@!$&'()*+,;="
_VARIABLE: Final = re.compile(
    r"(?P<name>(?:[A-Za-z0-9_]|%[0-9A-Fa-f]{2})(?:\.?(?:[A-Za-z0-9_]|%[0-9A-Fa-f]{2}))*)"
    r"(?:(?P<explode>\*)|:(?P<prefix>[1-9][0-9]{0,3}))?"
)
_TRIPLET: Final = re.compile(r"%[0-9A-Fa-f]{2}")
_NO_LITERAL: Final = re.compile(r"[\x00-\x20\x7f-\x9f\"<>\\^`|}]|%(?![0-9A-Fa-f]{2})")
_PATH_BEGUN: Final = re.compile(r"[^/?#]*//[^/?#]*[/?#]")
_ENDS: Final = frozenset("/?#")  # operators whose expansion cannot belong to a host any more
_FORM: Final = "{name}, {?name,other} and the other forms of RFC 6570"


@dataclass(frozen=True, slots=True)
class Variable:
    """One variable of an expression; `start` is where its name stands in the template."""

    name: str
    start: int
    explode: bool
    prefix: int | None


@dataclass(frozen=True, slots=True)
class Expression:
    """One `{...}`: its operator, or "", and its variables."""

    operator: str
    variables: tuple[Variable, ...]


@dataclass(frozen=True, slots=True)
class Template:
    """A valid template: literals and expressions in turn. `host` are the variables of its authority."""

    text: str
    parts: tuple[str | Expression, ...]

    @property
    def variables(self) -> tuple[Variable, ...]:
        """All variables, in order."""
        return tuple(each for part in self.parts if isinstance(part, Expression) for each in part.variables)

    @property
    def host(self) -> frozenset[str]:
        """Names of the variables that can change where the URL goes: those of its scheme, host and port."""
        names: set[str] = set()
        before = ""
        for part in self.parts:
            if isinstance(part, str):
                before += part
            if _PATH_BEGUN.match(before) or (isinstance(part, Expression) and part.operator in _ENDS):
                break
            if isinstance(part, Expression):
                names.update(each.name for each in part.variables)
                before += "x"
        return frozenset(names)


@lru_cache(maxsize=1_024)
def parse_template(text: str) -> Template:
    """The template, or a TextFault at what RFC 6570 section 2 does not allow."""
    parts: list[str | Expression] = []
    position = 0
    while position < len(text):
        opening = text.find("{", position)
        literal = text[position:] if opening < 0 else text[position:opening]
        bad = _NO_LITERAL.search(literal)
        if bad is not None:
            raise TextFault(
                f"{character(bad.group())} in a URL", position + bad.start(), 1, "the same character as %hh"
            )
        if literal:
            parts.append(literal)
        if opening < 0:
            break
        closing = text.find("}", opening)
        if closing < 0:
            raise TextFault("a { that is not closed", opening, len(text) - opening, _FORM)
        parts.append(_expression(text, opening, closing))
        position = closing + 1
    return Template(text, tuple(parts))


def _expression(text: str, opening: int, closing: int) -> Expression:
    operator = text[opening + 1] if text[opening + 1] in _JOINS else ""
    position = opening + 1 + len(operator)
    variables: list[Variable] = []
    while True:
        match = _VARIABLE.match(text, position)
        end = match.end() if match is not None else position
        if match is None or text[end] not in ",}":
            length = max(1, closing - position)
            raise TextFault(f"{text[opening : closing + 1]} is no expression", position, length, _FORM)
        prefix = None if match["prefix"] is None else int(match["prefix"])
        variables.append(Variable(match["name"], match.start(), match["explode"] is not None, prefix))
        position = end + 1
        if text[end] == "}":
            return Expression(operator, tuple(variables))


def expand(template: Template, values: Mapping[str, TemplateValue]) -> str:
    """The URI; a variable without a value expands to nothing (section 3.2.1).

    TextFault: a prefix such as `:3` on a value that is no text (section 2.4.1).
    """
    return "".join(
        urllib.parse.quote(part, _RESERVED + "%~") if isinstance(part, str) else _expanded(part, values)
        for part in template.parts
    )


def _expanded(expression: Expression, values: Mapping[str, TemplateValue]) -> str:
    """One variable at a time, since one name may stand there twice with different prefixes."""
    begin, separator = _JOINS[expression.operator]
    pieces: list[str] = []
    for variable in expression.variables:
        value = values.get(variable.name)
        if value is None or (not isinstance(value, str) and not value):
            continue
        if variable.prefix is not None:
            if not isinstance(value, str):
                raise TextFault(
                    "a prefix of a list", variable.start, len(variable.name), "a prefix of a text"
                )
            value = "".join(re.findall(r"%[0-9A-Fa-f]{2}|.", value, re.DOTALL)[: variable.prefix])
        if expression.operator in {"+", "#"}:
            value = _ready(value)
        form = f"{{{expression.operator}{variable.name}{'*' if variable.explode else ''}}}"
        pieces.append(_form(form).expand({variable.name: value}).removeprefix(begin))
    return begin + separator.join(pieces) if pieces else ""


@lru_cache(maxsize=1_024)
def _form(text: str) -> uritemplate.URITemplate:
    return uritemplate.URITemplate(text)


def _ready(value: TemplateValue) -> TemplateValue:
    """A value of `{+x}` or `{#x}` with all but reserved and unreserved characters and triplets encoded."""
    if isinstance(value, Mapping):
        return {name: str(_ready(each)) for name, each in value.items()}
    if not isinstance(value, str):
        return [str(_ready(each)) for each in value]
    triplets = [*_TRIPLET.findall(value), ""]
    return "".join(
        urllib.parse.quote(piece, _RESERVED + "~") + triplet
        for piece, triplet in zip(_TRIPLET.split(value), triplets, strict=True)
    )
