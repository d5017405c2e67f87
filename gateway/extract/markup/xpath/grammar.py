"""XPath text -> Expression, by the grammar of XPath 1.0 sections 2 and 3.

Everything that can be wrong with a path is found here, with its place: grammar, unknown functions and
prefixes, wrong numbers of arguments, and wrong types. Parentheses, calls and predicates nest only so deep.
"""

from collections.abc import Mapping
from typing import Final

from adapters import limits
from adapters.errors import PathFault
from gateway.extract.markup.xpath.functions import SIGNATURES
from gateway.extract.markup.xpath.syntax import (
    Call,
    Chain,
    Expression,
    Filter,
    Kind,
    Literal,
    NameTest,
    Negation,
    Number,
    Path,
    Predicate,
    Step,
    TypeTest,
    Union,
)
from gateway.extract.markup.xpath.tokens import Sort, Token, shown, tokenise

# Operators by strength, weakest first (section 3.5); `|` and the minus sign bind more strongly.
_STRENGTHS: Final = {
    "or": 1,
    "and": 2,
    "=": 3,
    "!=": 3,
    "<": 4,
    "<=": 4,
    ">": 4,
    ">=": 4,
    "+": 5,
    "-": 5,
    "*": 6,
    "div": 6,
    "mod": 6,
}
_FIRST_ARITHMETIC: Final = 5
_CONTEXT: Final = Path(None, False, (Step("self", TypeTest("node")),))
_ANYWHERE: Final = Step("descendant-or-self", TypeTest("node"))
_ANY_PARENT: Final = Step("descendant-or-self", TypeTest("parent"))
_ABBREVIATIONS: Final = {".": Step("self", TypeTest("node")), "..": Step("parent", TypeTest("node"))}


def parse(text: str, prefixes: Mapping[str, str]) -> Expression:
    """The expression that the text is. `prefixes` are the known ones. Raises PathFault."""
    if len(text) > limits.PATH_CHARACTERS:
        raise PathFault("The path is too long", limits.PATH_CHARACTERS)
    return _Parser(tokenise(text), prefixes).whole()


class _Parser:
    """Reads tokens from left to right, and never back."""

    def __init__(self, tokens: list[Token], prefixes: Mapping[str, str]) -> None:
        self._tokens = tokens
        self._place = 0
        self._prefixes = prefixes
        self._nesting = 0

    def whole(self) -> Expression:
        if self._peek().sort is Sort.END:
            raise PathFault("The path is empty")
        expression = self._expression()
        if self._peek().sort is not Sort.END:
            raise self._unexpected()
        return expression

    def _peek(self) -> Token:
        return self._tokens[self._place]

    def _take(self) -> Token:
        token = self._peek()
        self._place += 1
        return token

    def _at(self, *texts: str) -> bool:
        return self._peek().sort in {Sort.MARK, Sort.OPERATOR} and self._peek().text in texts

    def _skip(self, text: str) -> bool:
        """Take the mark or operator if it is next."""
        if not self._at(text):
            return False
        self._place += 1
        return True

    def _expect(self, text: str) -> None:
        if not self._skip(text):
            if self._peek().sort is Sort.END:
                raise PathFault(f"A {text} is missing", self._peek().position)
            raise self._unexpected()

    def _unexpected(self) -> PathFault:
        token = self._peek()
        if token.sort is Sort.END:
            return PathFault("The path stops too early", token.position)
        return PathFault(f"Unexpected {shown(token.text or 'text')}", token.position)

    def _expression(self, weakest: int = 1) -> Expression:
        """An expression whose operators are at least this strong."""
        left = self._signed()
        while (strength := self._strength()) >= weakest:
            rest: list[tuple[str, Expression]] = []
            while self._strength() == strength:
                sign = self._take().text
                rest.append((sign, self._expression(strength + 1)))
            kind = Kind.NUMBER if strength >= _FIRST_ARITHMETIC else Kind.BOOLEAN
            left = Chain(left, tuple(rest), kind)
        return left

    def _strength(self) -> int:
        return _STRENGTHS.get(self._peek().text, 0) if self._peek().sort is Sort.OPERATOR else 0

    def _signed(self) -> Expression:
        signs = 0
        while self._skip("-"):
            signs += 1
        operand = self._union()
        return Negation(operand, odd=signs % 2 == 1) if signs else operand

    def _union(self) -> Expression:
        start = self._peek().position
        operands = [self._path()]
        while self._at("|"):
            self._require_nodes(operands[-1], start, "The | joins nodes only")
            self._take()
            start = self._peek().position
            operands.append(self._path())
        if len(operands) == 1:
            return operands[0]
        self._require_nodes(operands[-1], start, "The | joins nodes only")
        return Union(tuple(operands))

    def _path(self) -> Expression:
        token = self._peek()
        starts_filter = token.sort in {Sort.LITERAL, Sort.NUMBER, Sort.FUNCTION} or self._at("(")
        if not starts_filter:
            return self._location_path()
        primary = self._primary()
        if self._at("["):
            self._require_nodes(primary, token.position, "Only nodes can be filtered")
            primary = Filter(primary, self._predicates())
        if not self._at("/", "//"):
            return primary
        self._require_nodes(primary, token.position, "Only nodes have paths")
        return Path(primary, False, self._more_steps())

    def _location_path(self) -> Expression:
        if self._at("/"):
            self._take()
            if not self._begins_step():
                return Path(None, True, ())
            return Path(None, True, (self._step(), *self._more_steps()))
        if self._at("//"):
            return Path(None, True, self._more_steps())
        return Path(None, False, (self._step(), *self._more_steps()))

    def _more_steps(self) -> tuple[Step, ...]:
        steps: list[Step] = []
        while self._at("/", "//"):
            anywhere = self._take().text == "//"
            step = self._step()
            steps += _after_anywhere(step) if anywhere else (step,)
        return tuple(steps)

    def _begins_step(self) -> bool:
        return self._peek().sort in {Sort.NAME_TEST, Sort.NODE_TYPE, Sort.AXIS} or self._at("@", ".", "..")

    def _step(self) -> Step:
        if not self._begins_step():
            raise self._unexpected()
        if self._at(".", ".."):
            return _ABBREVIATIONS[self._take().text]
        axis = "child"
        if self._skip("@"):
            axis = "attribute"
        elif self._peek().sort is Sort.AXIS:
            axis = self._take().text
            self._expect("::")
        return Step(axis, self._test(), self._predicates())

    def _test(self) -> NameTest | TypeTest:
        token = self._peek()
        if token.sort is Sort.NAME_TEST:
            self._take()
            return NameTest(self._uri(token), token.text, token.prefix)
        if token.sort is not Sort.NODE_TYPE:
            raise self._unexpected()
        self._take()
        self._expect("(")
        if token.text == "processing-instruction" and self._peek().sort is Sort.LITERAL:
            self._take()
        self._expect(")")
        return TypeTest(token.text)

    def _uri(self, token: Token) -> str | None:
        if token.prefix is None:
            return None
        if token.prefix not in self._prefixes:
            raise PathFault(f"Unknown prefix {shown(token.prefix)}", token.position)
        return self._prefixes[token.prefix]

    def _predicates(self) -> tuple[Predicate, ...]:
        predicates: list[Predicate] = []
        while self._at("["):
            self._descend()
            first = self._place
            condition = self._expression()
            used = self._tokens[first : self._place]
            positional = condition.kind is Kind.NUMBER or any(
                token.sort is Sort.FUNCTION and token.text in {"position", "last"} for token in used
            )
            predicates.append(Predicate(condition, positional))
            self._ascend("]")
        return tuple(predicates)

    def _primary(self) -> Expression:
        token = self._peek()
        if self._at("("):
            self._descend()
            inner = self._expression()
            self._ascend(")")
            return inner
        self._take()
        if token.sort is Sort.LITERAL:
            return Literal(token.text)
        if token.sort is Sort.NUMBER:
            return Number(float(token.text))
        return self._call(token)

    def _call(self, token: Token) -> Expression:
        signature = SIGNATURES.get(token.text) if token.prefix is None else None
        if signature is None:
            raise PathFault(f"Unknown function {shown(token.text)}()", token.position)
        arguments: list[Expression] = []
        self._descend()
        while not self._at(")") if not arguments else self._skip(","):
            start = self._peek().position
            arguments.append(self._expression())
            if signature.nodes:
                self._require_nodes(arguments[-1], start, f"{token.text}() takes nodes only")
        self._ascend(")")
        if len(arguments) < signature.least:
            raise PathFault(f"{token.text}() takes more arguments", token.position)
        if signature.most is not None and len(arguments) > signature.most:
            raise PathFault(f"{token.text}() takes fewer arguments", token.position)
        if signature.context and not arguments:
            arguments.append(_CONTEXT)
        return Call(token.text, tuple(arguments), signature.kind)

    def _descend(self) -> None:
        """Take an opening mark."""
        token = self._take()
        self._nesting += 1
        if self._nesting > limits.PATH_NESTING:
            raise PathFault("The path is nested too deeply", token.position)

    def _ascend(self, closing: str) -> None:
        self._expect(closing)
        self._nesting -= 1

    @staticmethod
    def _require_nodes(expression: Expression, position: int, sentence: str) -> None:
        if expression.kind is not Kind.NODES:
            raise PathFault(sentence, position)


def _after_anywhere(step: Step) -> tuple[Step, ...]:
    """The steps of `//` and what follows it, without a detour over nodes that cannot lead anywhere."""
    if step.axis == "child" and not any(predicate.positional for predicate in step.predicates):
        return (Step("descendant", step.test, step.predicates),)
    if step.axis in {"child", "attribute", "descendant", "namespace"}:
        return (_ANY_PARENT, step)
    return (_ANYWHERE, step)
