"""Arguments -> result: the core function library (XPath 1.0 section 4), with its signatures.

Functions of whole node-sets or of the context (last, position, count, sum, id, lang) only have their
signature here; the evaluator does them.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from lxml import etree

from gateway.extract.markup.nodes import XML_NAMESPACE, Attribute, Item, Namespace, namespace_of
from gateway.extract.markup.xpath.syntax import Kind
from gateway.extract.markup.xpath.values import BLANKS, Scalar, to_boolean, to_number, to_string


@dataclass(frozen=True, slots=True)
class Signature:
    """How a function is called: at least `least` arguments, at most `most` (None: any number).

    `nodes`: its argument must be a node-set. `context`: without an argument it takes the context node.
    """

    least: int
    most: int | None
    kind: Kind
    nodes: bool = False
    context: bool = False


_NODES, _STRING, _NUMBER, _BOOLEAN = Kind.NODES, Kind.STRING, Kind.NUMBER, Kind.BOOLEAN

SIGNATURES: Final = {
    "last": Signature(0, 0, _NUMBER),
    "position": Signature(0, 0, _NUMBER),
    "count": Signature(1, 1, _NUMBER, nodes=True),
    "id": Signature(1, 1, _NODES),
    "local-name": Signature(0, 1, _STRING, nodes=True, context=True),
    "namespace-uri": Signature(0, 1, _STRING, nodes=True, context=True),
    "name": Signature(0, 1, _STRING, nodes=True, context=True),
    "string": Signature(0, 1, _STRING, context=True),
    "concat": Signature(2, None, _STRING),
    "starts-with": Signature(2, 2, _BOOLEAN),
    "contains": Signature(2, 2, _BOOLEAN),
    "substring-before": Signature(2, 2, _STRING),
    "substring-after": Signature(2, 2, _STRING),
    "substring": Signature(2, 3, _STRING),
    "string-length": Signature(0, 1, _NUMBER, context=True),
    "normalize-space": Signature(0, 1, _STRING, context=True),
    "translate": Signature(3, 3, _STRING),
    "boolean": Signature(1, 1, _BOOLEAN),
    "not": Signature(1, 1, _BOOLEAN),
    "true": Signature(0, 0, _BOOLEAN),
    "false": Signature(0, 0, _BOOLEAN),
    "lang": Signature(1, 1, _BOOLEAN),
    "number": Signature(0, 1, _NUMBER, context=True),
    "sum": Signature(1, 1, _NUMBER, nodes=True),
    "floor": Signature(1, 1, _NUMBER),
    "ceiling": Signature(1, 1, _NUMBER),
    "round": Signature(1, 1, _NUMBER),
}


def name_of(function: str, node: Item | None) -> str:
    """The result of name(), local-name() or namespace-uri() for the first node of a node-set, if any."""
    return "" if node is None else _OF_NODE[function](node)


def call(name: str, arguments: list[Scalar]) -> Scalar:
    """The result of a function of strings, numbers or booleans; the arguments fit its signature."""
    if name in _OF_NUMBER:
        return _OF_NUMBER[name](to_number(arguments[0]))
    if name in _OF_BOOLEAN:
        return _OF_BOOLEAN[name](*map(to_boolean, arguments))
    if name == "substring":
        return substring(to_string(arguments[0]), *map(to_number, arguments[1:]))
    return _OF_STRINGS[name](*map(to_string, arguments))


def substring(text: str, start: float, length: float | None = None) -> str:
    """The characters whose places, from 1, lie in the rounded range; NaN and infinities allowed."""
    first = round_half_up(start)
    end = math.inf if length is None else first + round_half_up(length)
    if math.isnan(first) or math.isnan(end):
        return ""
    lowest = 1 if first < 1 else first
    highest = len(text) + 1 if end > len(text) + 1 else end
    return text[int(lowest) - 1 : int(highest) - 1] if lowest < highest else ""


def round_half_up(value: float) -> float:
    """round(): the nearest integer, of two equally near ones the greater; NaN and infinities stay."""
    if not math.isfinite(value):
        return value
    whole = math.floor(value)
    return float(whole + 1 if value - whole >= 0.5 else whole)


def _floor(value: float) -> float:
    return float(math.floor(value)) if math.isfinite(value) else value


def _ceiling(value: float) -> float:
    return float(math.ceil(value)) if math.isfinite(value) else value


def _local_name(node: Item) -> str:
    match node:
        case etree._Element():
            return str(node.tag).rpartition("}")[2]
        case Attribute():
            return node.name.rpartition("}")[2]
        case Namespace():
            return node.prefix
    return ""


def _namespace_uri(node: Item) -> str:
    match node:
        case etree._Element():
            return namespace_of(str(node.tag))
        case Attribute():
            return namespace_of(node.name)
    return ""


def _name(node: Item) -> str:
    local = _local_name(node)
    match node:
        case etree._Element() if node.prefix:
            return f"{node.prefix}:{local}"
        case Attribute() if uri := _namespace_uri(node):
            if uri == XML_NAMESPACE:
                return f"xml:{local}"
            declared = node.parent.nsmap.items()
            # lxml does not say which of several prefixes for one namespace the document used.
            return f"{next((prefix for prefix, each in declared if prefix and each == uri), '')}:{local}"
    return local


def _before(text: str, part: str) -> str:
    before, found, _ = text.partition(part) if part else ("", "", "")
    return before if found else ""


def _after(text: str, part: str) -> str:
    return text.partition(part)[2] if part else text


def normalize_space(text: str) -> str:
    """The text with runs of the four blanks of XML made one blank, and none at its ends."""
    return " ".join(piece for piece in text.translate(_TO_BLANK).split(" ") if piece)


_TO_BLANK: Final = str.maketrans(BLANKS, " " * len(BLANKS))


def _translate(text: str, old: str, new: str) -> str:
    table: dict[int, str | None] = {}
    for place, character in enumerate(old):
        table.setdefault(ord(character), new[place] if place < len(new) else None)
    return text.translate(table)


_OF_NODE: Final = {"local-name": _local_name, "namespace-uri": _namespace_uri, "name": _name}
_OF_NUMBER: Final[dict[str, Callable[[float], float]]] = {
    "number": float,
    "floor": _floor,
    "ceiling": _ceiling,
    "round": round_half_up,
}
_OF_BOOLEAN: Final[dict[str, Callable[..., bool]]] = {
    "boolean": bool,
    "not": lambda value: not value,
    "true": lambda: True,
    "false": lambda: False,
}
_OF_STRINGS: Final[dict[str, Callable[..., Scalar]]] = {
    "string": str,
    "concat": lambda *texts: "".join(texts),
    "starts-with": str.startswith,
    "contains": str.__contains__,
    "substring-before": _before,
    "substring-after": _after,
    "string-length": lambda text: float(len(text)),
    "normalize-space": normalize_space,
    "translate": _translate,
}
