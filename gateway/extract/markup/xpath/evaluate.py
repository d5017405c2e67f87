"""Expression + context node -> result, counting every node looked at (XPath 1.0 sections 2 and 3).

Node-sets are lists in document order throughout, each node once, so that "the first" always is the first.
"""

import re
from collections.abc import Iterable
from itertools import islice
from typing import Final, TypeAlias, cast

from lxml import etree

from adapters import limits
from gateway.extract.markup.nodes import (
    XML_NAMESPACE,
    Item,
    Markup,
    in_document_order,
    size_of,
    text_of,
)
from gateway.extract.markup.xpath import functions
from gateway.extract.markup.xpath.arithmetic import calculate
from gateway.extract.markup.xpath.axes import REVERSE, along
from gateway.extract.markup.xpath.candidates import FAST_NODES, Candidates
from gateway.extract.markup.xpath.syntax import (
    Call,
    Chain,
    Expression,
    Filter,
    Kind,
    Literal,
    Negation,
    Number,
    Path,
    Predicate,
    Step,
    Union,
)
from gateway.extract.markup.xpath.values import (
    Operand,
    Scalar,
    equal,
    ordered,
    to_boolean,
    to_number,
    to_string,
)

Result: TypeAlias = Scalar | list[Item]

# Characters that a function works through, and that are only copied, in the time that one node costs.
_CHARACTERS: Final = 16
_FAST_CHARACTERS: Final = 256
_GATHERING: Final = 4  # for the text of an element with others inside

_NO_CHARACTER: Final = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML has no place for (XML 1.0 section 2.2), and an HTML page's text may hold."""

_BY_ID: Final = etree.XPath("id($names)", regexp=False, smart_strings=False)


class Evaluation:
    """One path over one document. `blind`: see `names`. Raises TooLarge where the work becomes too much."""

    __slots__ = ("_blind", "_candidates", "_markup", "_work")

    def __init__(self, markup: Markup, blind: bool) -> None:
        self._markup = markup
        self._blind = blind
        self._work = markup.work
        self._candidates = Candidates(markup, blind)

    def value(self, expression: Expression, node: Item, place: int = 1, size: int = 1) -> Result:
        """The value for a context: node, place and size as in section 1."""
        self._work.spend()
        match expression:
            case Path():
                return self._path(expression, node, place, size)
            case Literal() | Number():
                return expression.value
            case Call():
                return self._call(expression, node, place, size)
            case Chain():
                return self._chain(expression, node, place, size)
            case Negation():
                number = self._number(expression.operand, node, place, size)
                return -number if expression.odd else number
            case Filter():
                nodes = self.nodes(expression.nodes, node, place, size)
                return self._filtered(nodes, expression.predicates)
            case Union():  # pragma: no branch — mypy knows that these are all
                found: dict[Item, None] = {}
                for operand in expression.operands:
                    found |= dict.fromkeys(self.nodes(operand, node, place, size))
                return in_document_order(list(found), self._markup)

    def nodes(self, expression: Expression, node: Item, place: int = 1, size: int = 1) -> list[Item]:
        """The nodes that an expression of that type gives."""
        value = self.value(expression, node, place, size)
        assert isinstance(value, list)
        return value

    def text(self, item: Item) -> str:
        """A node's string-value, counted for what gathering it costs."""
        if isinstance(item, (etree._Element, Markup)):
            below = size_of(item, self._markup)
            self._work.spend(_GATHERING + below // FAST_NODES if below else 1)
        text = text_of(item)
        self._work.spend(len(text) // _FAST_CHARACTERS)
        return text

    def _scalar(self, expression: Expression, node: Item, place: int, size: int) -> Scalar:
        """The value, of nodes the string-value of the first."""
        value = self.value(expression, node, place, size)
        if isinstance(value, list):
            return self.text(value[0]) if value else ""
        return value

    def _number(self, expression: Expression, node: Item, place: int, size: int) -> float:
        return to_number(self._scalar(expression, node, place, size))

    def _truth(self, expression: Expression, node: Item, place: int, size: int) -> bool:
        value = self.value(expression, node, place, size)
        return bool(value) if isinstance(value, list) else to_boolean(value)

    def _operand(self, expression: Expression, node: Item, place: int, size: int) -> Operand:
        value = self.value(expression, node, place, size)
        return [self.text(item) for item in value] if isinstance(value, list) else value

    def _chain(self, chain: Chain, node: Item, place: int, size: int) -> Scalar:
        sign = chain.rest[0][0]
        if sign in {"or", "and"}:
            operands = (chain.first, *(operand for _, operand in chain.rest))
            truths = (self._truth(operand, node, place, size) for operand in operands)
            return any(truths) if sign == "or" else all(truths)
        if chain.kind is Kind.NUMBER:
            total = self._number(chain.first, node, place, size)
            for sign, operand in chain.rest:
                total = calculate(total, sign, self._number(operand, node, place, size))
            return total
        left = self._operand(chain.first, node, place, size)
        for sign, operand in chain.rest:
            right = self._operand(operand, node, place, size)
            left = equal(left, right, sign == "=") if sign in {"=", "!="} else ordered(left, right, sign)
        assert isinstance(left, bool)
        return left

    def _call(self, call: Call, node: Item, place: int, size: int) -> Result:
        match call.name:
            case "position":
                return float(place)
            case "last":
                return float(size)
            case "count":
                return float(len(self.nodes(call.arguments[0], node, place, size)))
            case "sum":
                texts = map(self.text, self.nodes(call.arguments[0], node, place, size))
                total = 0.0  # added one by one, as the recommendation has it
                for text in texts:
                    total += to_number(text)
                return total
            case "boolean" | "not":
                return self._truth(call.arguments[0], node, place, size) is (call.name == "boolean")
            case "id":
                return self._by_id(self._operand(call.arguments[0], node, place, size))
            case "lang":
                return self._is_language(to_string(self._scalar(call.arguments[0], node, place, size)), node)
            case "name" | "local-name" | "namespace-uri":
                named = self.nodes(call.arguments[0], node, place, size)
                return functions.name_of(call.name, named[0] if named else None)
        arguments = [self._scalar(argument, node, place, size) for argument in call.arguments]
        result = functions.call(call.name, arguments)
        length = sum(len(each) for each in (*arguments, result) if isinstance(each, str))
        self._work.spend(length // _CHARACTERS)
        return result

    def _by_id(self, value: Operand) -> list[Item]:
        names = " ".join(value) if isinstance(value, list) else to_string(value)
        self._work.spend(len(names))
        names = functions.normalize_space(names)  # libxml2 finds nothing behind a blank in front
        if _NO_CHARACTER.search(names):  # and lxml takes no such text, which no name is
            names = " ".join(each for each in names.split(" ") if not _NO_CHARACTER.search(each))
        found = cast(list[Item], _BY_ID(self._markup.root, names=names))
        return in_document_order(list(dict.fromkeys(found)), self._markup)

    def _is_language(self, wanted: str, node: Item) -> bool:
        """Whether lang() holds: by the nearest xml:lang, case-blind, up to a hyphen (section 4.3)."""
        attribute = "xml:lang" if self._markup.html else f"{{{XML_NAMESPACE}}}lang"
        for item in along("ancestor-or-self", node, self._markup):
            language = item.get(attribute) if isinstance(item, etree._Element) else None
            if language is not None:
                return f"{language.lower()}-".startswith(f"{wanted.lower()}-")
        return False

    def _path(self, path: Path, node: Item, place: int, size: int) -> list[Item]:
        if path.absolute:
            return self._absolute(path)
        found = [node] if path.start is None else self.nodes(path.start, node, place, size)
        return self._steps(path.steps, found)

    def _absolute(self, path: Path) -> list[Item]:
        """It gives the same for every context, so it is evaluated once for a document."""
        key = id(path), self._blind
        constants = self._markup.memory.constants
        if key not in constants:
            # The path is kept with its result, so that no other one can get its id.
            constants[key] = path, self._steps(path.steps, [self._markup])
        return constants[key][1]

    def _steps(self, steps: tuple[Step, ...], found: list[Item]) -> list[Item]:
        for step in steps:
            if not found:
                break
            found = self._step(step, found)
        return found

    def _step(self, step: Step, contexts: list[Item]) -> list[Item]:
        if len(contexts) == 1:
            found = self._from_one(step, contexts[0])
            return found[::-1] if step.axis in REVERSE else found
        if any(predicate.positional for predicate in step.predicates):
            found = list(dict.fromkeys(item for each in contexts for item in self._from_one(step, each)))
        else:
            found = self._filtered(self._candidates.of_all(step, contexts), step.predicates)
        if len(found) < 2 or self._candidates.keeps_order(step.axis, contexts):
            return found
        return in_document_order(found, self._markup)

    def _from_one(self, step: Step, context: Item) -> list[Item]:
        """What a step selects from one node, in the axis's own order."""
        if not step.predicates:
            return self._candidates.of_one(step, context)
        first, *others = step.predicates
        if isinstance(first.condition, Number):
            # The usual `[1]`, without a look at what is behind it.
            place = first.condition.value
            if not (place.is_integer() and 1 <= place <= limits.MARKUP_STEPS):
                return []
            candidates = self._candidates.lazily(step, context)
            return self._filtered(list(islice(candidates, int(place) - 1, int(place))), others)
        return self._filtered(self._candidates.of_one(step, context), step.predicates)

    def _filtered(self, items: list[Item], predicates: Iterable[Predicate]) -> list[Item]:
        """The items, in the order in which their places are counted, that meet all conditions."""
        for predicate in predicates:
            condition, size = predicate.condition, len(items)
            if condition.kind is Kind.NUMBER:
                items = [
                    item
                    for place, item in enumerate(items, 1)
                    if self._number(condition, item, place, size) == place
                ]
            else:
                items = [
                    item for place, item in enumerate(items, 1) if self._truth(condition, item, place, size)
                ]
        return items
