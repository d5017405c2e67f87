"""text -> Query: the grammar of RFC 9535, and its rules for well-typed expressions (section 2.4.3).

Every mistake is a PathFault with the place and what to write instead. Filters, parentheses and function
calls may stand in one another as deep as `limits.PATH_NESTING`, so that no text can exhaust the stack.
"""

from typing import Final

from adapters import limits
from adapters.errors import PathFault
from gateway.extract.jsonpath.functions import SIGNATURES, Type
from gateway.extract.jsonpath.i_regexp import TooComplex, translate
from gateway.extract.jsonpath.nodes import (
    Comparison,
    Either,
    Every,
    Exists,
    FilterSelector,
    FunctionCall,
    IndexSelector,
    Literal,
    NameSelector,
    Not,
    Operand,
    Query,
    Segment,
    Selector,
    SliceSelector,
    Test,
    WildcardSelector,
)
from gateway.extract.jsonpath.scan import Scanner

_OPERATORS: Final = ("==", "!=", "<=", ">=", "<", ">")  # the longer ones first
_WORDS: Final = {"true": True, "false": False, "null": None}
_QUOTES: Final = frozenset({"'", '"'})
_DIGITS: Final = frozenset("-0123456789")
_WORD_CHARACTERS: Final = 12  # of a wrong word, so that a sentence stays short


def parse(text: str) -> Query:
    """The tree of a whole query. Raises PathFault."""
    if len(text) > limits.PATH_CHARACTERS:
        raise PathFault(f"A path has at most {limits.PATH_CHARACTERS} characters", limits.PATH_CHARACTERS)
    return _Parser(text).whole()


class _Parser:
    """Recursive descent over one query's text."""

    def __init__(self, text: str) -> None:
        self._scan = Scanner(text)
        self._depth = 0

    def whole(self) -> Query:
        scan = self._scan
        if not scan.take("$"):
            raise scan.fault("A path begins with $")
        query = Query(self._segments())
        if scan.ended():
            return query
        place = scan.at
        scan.blanks()
        if scan.ended():
            raise scan.fault("No blanks after the path", place)
        if scan.peek() == "]":
            raise scan.fault("This ] closes nothing")
        raise scan.fault("Expected . or [ here")

    # Segments (section 2.5)

    def _segments(self) -> tuple[Segment, ...]:
        scan = self._scan
        segments: list[Segment] = []
        while True:
            place = scan.at
            scan.blanks()
            if scan.take("["):
                segments.append(Segment(self._bracketed()))
            elif scan.take(".."):
                segments.append(self._descendant())
            elif scan.take("."):
                segments.append(Segment((self._dotted(),)))
            else:
                scan.at = place
                return tuple(segments)

    def _descendant(self) -> Segment:
        if self._scan.take("["):
            return Segment(self._bracketed(), descendant=True)
        return Segment((self._dotted(),), descendant=True)

    def _dotted(self) -> Selector:
        scan = self._scan
        if scan.take("*"):
            return WildcardSelector()
        name = scan.name()
        if name is not None:
            return NameSelector(name)
        following = scan.peek()
        if not following:
            raise scan.fault("The path ends with a dot")
        if following in _QUOTES or following in _DIGITS:
            raise scan.fault("Such a name needs ['...']")
        if following == ".":
            raise scan.fault("At most two dots")
        if following == "[":
            raise scan.fault("No dot before [")
        raise scan.fault("A name must follow the dot")

    def _bracketed(self) -> tuple[Selector, ...]:
        scan = self._scan
        opened = scan.at - 1
        selectors: list[Selector] = []
        while True:
            scan.blanks()
            selectors.append(self._selector())
            scan.blanks()
            if scan.take("]"):
                return tuple(selectors)
            if not scan.take(","):
                if scan.ended():
                    raise scan.fault("This [ is never closed", opened)
                raise scan.fault("Expected , or ] here")

    def _selector(self) -> Selector:
        scan = self._scan
        following = scan.peek()
        if following in _QUOTES:
            return NameSelector(scan.string())
        if scan.take("*"):
            return WildcardSelector()
        if scan.take("?"):
            return FilterSelector(self._nested_test())
        if following in _DIGITS or following == ":":
            return self._index_or_slice()
        if not following:
            raise scan.fault("The path ends inside [")
        if following in {"]", ","}:
            raise scan.fault("A name or number is missing here")
        if following == "(":
            raise scan.fault("Scripts are not JSONPath; use ?")
        raise scan.fault("In [] a name needs quotes")

    def _index_or_slice(self) -> Selector:
        scan = self._scan
        start = scan.integer()
        place = scan.at
        scan.blanks()
        if not scan.take(":"):
            scan.at = place
            return IndexSelector(start or 0)
        scan.blanks()
        end = scan.integer()
        scan.blanks()
        step = None
        if scan.take(":"):
            scan.blanks()
            step = scan.integer()
        return SliceSelector(start, end, step)

    # Filters (section 2.3.5)

    def _nested_test(self) -> Test:
        """What follows a `?` or an opening parenthesis."""
        self._deeper()
        self._scan.blanks()
        test = self._either()
        self._depth -= 1
        return test

    def _deeper(self) -> None:
        self._depth += 1
        if self._depth > limits.PATH_NESTING:
            raise self._scan.fault("Nested too deeply")

    def _either(self) -> Test:
        tests = [self._every()]
        while self._joined("||"):
            tests.append(self._every())
        return tests[0] if len(tests) == 1 else Either(tuple(tests))

    def _every(self) -> Test:
        tests = [self._basic()]
        while self._joined("&&"):
            tests.append(self._basic())
        return tests[0] if len(tests) == 1 else Every(tuple(tests))

    def _joined(self, sign: str) -> bool:
        """Step over `&&` or `||` and the blanks around it."""
        scan = self._scan
        place = scan.at
        scan.blanks()
        if scan.take(sign):
            scan.blanks()
            return True
        if scan.peek() == sign[0]:
            raise scan.fault(f"Write {sign}")
        scan.at = place
        return False

    def _basic(self) -> Test:
        scan = self._scan
        if scan.take("!"):
            scan.blanks()
            if scan.peek() == "!":
                raise scan.fault("Only one ! before a test")
            if scan.peek() == "(":
                return Not(self._parenthesis())
            return Not(self._comparison_or_test(negated=True))
        if scan.peek() == "(":
            return self._parenthesis()
        return self._comparison_or_test(negated=False)

    def _parenthesis(self) -> Test:
        scan = self._scan
        opened = scan.at
        scan.take("(")
        test = self._nested_test()
        scan.blanks()
        if not scan.take(")"):
            if scan.ended():
                raise scan.fault("This ( is never closed", opened)
            raise scan.fault("Expected ) here")
        if self._operator() is not None:
            raise scan.fault("A test in () cannot be compared", opened)
        return test

    def _comparison_or_test(self, *, negated: bool) -> Test:
        scan = self._scan
        start = scan.at
        left = self._operand()
        operator = self._operator()
        if operator is None:
            return self._existence(left, start)
        if negated:
            raise scan.fault("Put a comparison after ! in ()", start)
        self._check_comparable(left, start)
        scan.blanks()
        start = scan.at
        right = self._operand()
        self._check_comparable(right, start)
        return Comparison(left, operator, right)

    def _operator(self) -> str | None:
        """A comparison operator, if one is next, after blanks."""
        scan = self._scan
        place = scan.at
        scan.blanks()
        for operator in _OPERATORS:
            if scan.take(operator):
                if scan.peek() == "=":
                    raise scan.fault("No such comparison")
                return operator
        if scan.peek(2) == "=~":
            raise scan.fault("Use match() or search() for patterns")
        if scan.peek() == "=":
            raise scan.fault("Write == to compare")
        scan.at = place
        return None

    def _existence(self, subject: Operand, start: int) -> Test:
        """A test without comparison (section 2.3.5.2.1)."""
        if isinstance(subject, Literal):
            raise self._scan.fault("A bare value tests nothing", start)
        if isinstance(subject, FunctionCall) and SIGNATURES[subject.name].result is Type.VALUE:
            raise self._scan.fault(f"{subject.name}() must be compared", start)
        return Exists(subject)

    def _check_comparable(self, operand: Operand, start: int) -> None:
        if isinstance(operand, Query) and not operand.singular:
            raise self._scan.fault("Only a path to one value compares", start)
        if isinstance(operand, FunctionCall) and SIGNATURES[operand.name].result is not Type.VALUE:
            raise self._scan.fault(f"{operand.name}() cannot be compared", start)

    def _operand(self) -> Operand:
        """A literal, a query or a function call."""
        scan = self._scan
        following = scan.peek()
        if scan.take("@"):
            return Query(self._segments(), absolute=False)
        if scan.take("$"):
            return Query(self._segments())
        if following in _QUOTES:
            return Literal(scan.string())
        if following in _DIGITS:
            return Literal(scan.number())
        start = scan.at
        word = scan.word()
        if word is None:
            if scan.ended():
                raise scan.fault("The path ends too early")
            raise scan.fault("Expected @, $, a value or a function")
        if scan.peek() == "(":
            return self._call(word, start)
        if word in _WORDS:
            return Literal(_WORDS[word])
        if word.lower() in _WORDS:
            raise scan.fault(f"Write {word.lower()} in lower case", start)
        raise scan.fault("Text needs quotes, members @.", start)

    # Functions (section 2.4)

    def _call(self, name: str, start: int) -> FunctionCall:
        scan = self._scan
        signature = SIGNATURES.get(name)
        if signature is None:
            raise scan.fault(f"No function {name[:_WORD_CHARACTERS]}()", start)
        self._deeper()
        scan.take("(")
        scan.blanks()
        arguments: list[Operand] = []
        wanted = signature.parameters
        while not scan.take(")"):
            if arguments:
                if not scan.take(","):
                    raise scan.fault("Expected , or ) here")
                scan.blanks()
            if len(arguments) == len(wanted):
                raise scan.fault(self._count_sentence(name))
            arguments.append(self._argument(name, wanted[len(arguments)]))
            scan.blanks()
        if len(arguments) < len(wanted):
            raise scan.fault(self._count_sentence(name), start)
        self._depth -= 1
        if name in {"match", "search"}:
            self._check_pattern(arguments[1], start)
        return FunctionCall(name, tuple(arguments))

    def _count_sentence(self, name: str) -> str:
        count = len(SIGNATURES[name].parameters)
        return f"{name}() takes {count} argument{'' if count == 1 else 's'}"

    def _argument(self, name: str, wanted: Type) -> Operand:
        scan = self._scan
        start = scan.at
        if scan.peek() in {"!", "("}:
            raise scan.fault(f"{name}() takes {wanted.value} here")
        argument = self._operand()
        if self._operator() is not None:
            raise scan.fault(f"{name}() takes {wanted.value} here", start)
        match argument:
            case Query():
                fits = wanted is Type.NODES or argument.singular
            case FunctionCall():
                fits = SIGNATURES[argument.name].result is wanted
            case Literal():  # pragma: no branch — mypy knows that these are all
                fits = wanted is Type.VALUE
        if not fits:
            raise scan.fault(f"{name}() takes {wanted.value} here", start)
        return argument

    def _check_pattern(self, pattern: Operand, start: int) -> None:
        """Tell at once about a pattern that would be too much for every document."""
        if isinstance(pattern, Literal) and isinstance(pattern.value, str):
            try:
                translate(pattern.value)
            except TooComplex as fault:
                raise self._scan.fault("That pattern is too large", start) from fault
