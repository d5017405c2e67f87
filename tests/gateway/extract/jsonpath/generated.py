"""Hypothesis strategies: JSON documents, and queries by the grammar of RFC 9535 (appendix A)."""

import json
from collections.abc import Callable

from hypothesis import strategies as st

NAMES = ("a", "b", "B", "ab", "", "0", "*", "a b", "it's", 'say "x"', "\\", "é", "\u2028", "\U0001f600", "\t")
NUMBERS = ("0", "-0", "1", "1.0", "1.5", "-2", "10", "1e1", "0.1", "1E-1", "2.50")
TEXTS = ("", "a", "b", "ab", "aab", "é", "\U0001f600", "\u2028", "a\nb")


class Written(str):
    """A number's text, which is to stand in the document as it is."""

    __slots__ = ()


def _document(value: object) -> str:
    if isinstance(value, Written):
        return str(value)
    if isinstance(value, dict):
        return (
            "{" + ",".join(f"{json.dumps(name)}:{_document(member)}" for name, member in value.items()) + "}"
        )
    if isinstance(value, list):
        return "[" + ",".join(map(_document, value)) + "]"
    return json.dumps(value)


_scalars = st.one_of(
    st.sampled_from(NUMBERS).map(Written),
    st.sampled_from(TEXTS),
    st.none(),
    st.booleans(),
)
documents = st.recursive(
    _scalars,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.sampled_from(NAMES), inner, max_size=5),
    max_leaves=25,
).map(_document)
"""JSON texts; numbers are such that binary floats compare them as their decimals compare."""

_INTEGERS = ("0", "1", "2", "3", "-1", "-2", "7", "-9", "9007199254740991")
_SHORT_NAMES = ("a", "b", "B", "ab", "é", "_x")
_BLANKS = ("", "", "", "", " ", "\t", "\n", "\r", "  ")
_PATTERNS = ("'a'", "'a.*'", "'.'", "'[^a]+'", "'(a|b){2,3}'", "'\\\\p{L}*'", "'a|$'", "'('")
_COMPARISONS = ("==", "!=", "<", "<=", ">", ">=")


class _Writer:
    """Draws the parts of a query, each a method; `depth` is how many filters may stand in one another."""

    def __init__(self, draw: st.DrawFn) -> None:
        self._draw = draw

    def one(self, *choices: str) -> str:
        return self._draw(st.sampled_from(choices))

    def chance(self, of: int) -> bool:
        return self._draw(st.integers(0, of - 1)) == of - 1

    def blank(self) -> str:
        return self.one(*_BLANKS)

    def several(self, part: Callable[[], str], least: int, most: int) -> list[str]:
        return [part() for _ in range(self._draw(st.integers(least, most)))]

    def string(self) -> str:
        quote, escape = self.one("'", '"'), self.chance(3)
        pieces = []
        for character in self.one(*NAMES, *TEXTS):
            if character in {quote, "\\"}:
                pieces.append("\\" + character)
            elif character < " " or (escape and character != "a"):
                pieces.append(json.dumps(character)[1:-1] if character != '"' else "\\u0022")
            else:
                pieces.append(character)
        return quote + "".join(pieces) + quote

    def slice(self) -> str:
        start, end, step = (self.one("", *_INTEGERS) for _ in range(3))
        bounds = f"{start}{self.blank()}:{self.blank()}{end}"
        return bounds if self.chance(2) else f"{bounds}{self.blank()}:{self.blank()}{step}"

    def selector(self, depth: int) -> str:
        kind = self.one("string", "wildcard", "index", "slice", *(("filter",) * 3 if depth else ()))
        match kind:
            case "string":
                return self.string()
            case "wildcard":
                return "*"
            case "index":
                return self.one(*_INTEGERS)
            case "slice":
                return self.slice()
        return f"?{self.blank()}{self.test(depth - 1, nesting=2)}"

    def bracketed(self, depth: int) -> str:
        selectors = self.several(lambda: f"{self.blank()}{self.selector(depth)}{self.blank()}", 1, 3)
        return f"[{','.join(selectors)}]"

    def segment(self, depth: int) -> str:
        dots = self.one(".", ".", "..")
        if self.chance(2):
            return self.blank() + dots + self.one("*", *_SHORT_NAMES)
        return self.blank() + dots.replace(".", "", 1 if dots == "." else 0) + self.bracketed(depth)

    def query(self, root: str, depth: int, least: int = 0) -> str:
        return root + "".join(self.several(lambda: self.segment(depth), least, 3))

    def singular(self) -> str:
        def segment() -> str:
            kind = self.one("name", "string", "index")
            if kind == "name":
                return f".{self.one(*_SHORT_NAMES)}"
            return f"[{self.string() if kind == 'string' else self.one(*_INTEGERS)}]"

        return self.root() + "".join(self.several(segment, 0, 3))

    def root(self) -> str:
        return self.one("@", "@", "@", "$")

    def literal(self) -> str:
        return self.string() if self.chance(2) else self.one(*NUMBERS, "true", "false", "null")

    def function(self, depth: int) -> str:
        """A function that gives a value."""
        # a bare @ as a path: left out, see test_reference
        path = self.query(self.root(), depth, least=1)
        value = self.singular() if self.chance(2) else self.literal()
        return self.one(f"length({value})", f"count({path})", f"value({path})", f"length(value({path}))")

    def operand(self, depth: int) -> str:
        kind = self.one("singular", "singular", "literal", "function")
        if kind == "singular":
            return self.singular()
        return self.literal() if kind == "literal" else self.function(depth)

    def test(self, depth: int, nesting: int) -> str:
        """A logical expression; `nesting` is how many parentheses may stand in one another."""
        kind = self.one(
            "comparison", "comparison", "comparison", "exists", "pattern", "joined", "parenthesis"
        )
        blank = self.blank()
        match kind:
            case "joined" if nesting:
                joint = self.one("&&", "||")
                return f"{self.test(depth, nesting - 1)}{blank}{joint}{blank}{self.test(depth, nesting - 1)}"
            case "parenthesis" if nesting:
                return f"{self.one('', '!')}({blank}{self.test(depth, nesting - 1)}{blank})"
            case "exists":
                return f"{self.one('', '!', '! ')}{self.query(self.root(), depth, least=1)}"
            case "pattern":
                subject = self.singular() if self.chance(2) else self.string()
                call = f"{self.one('match', 'search')}({subject},{blank}{self.one(*_PATTERNS)})"
                return self.one("", "!") + call
        return f"{self.operand(depth)}{blank}{self.one(*_COMPARISONS)}{blank}{self.operand(depth)}"


@st.composite
def queries(draw: st.DrawFn) -> str:
    """Valid queries of any kind."""
    return _Writer(draw).query("$", depth=2)


@st.composite
def chains(draw: st.DrawFn) -> str:
    """Valid queries without descendants, lists and filters: what the quicker routes take."""
    writer = _Writer(draw)

    def segment() -> str:
        return writer.one(".*", f".{writer.one(*_SHORT_NAMES)}", f"[{writer.selector(depth=0)}]")

    return "$" + "".join(writer.several(segment, 0, 4))


_ALPHABET = "$@.[]()?!*:,'\"\\&|=<>~-+0123456789eEabtrufalsenullcountmatchvue_ \t\n\x00\x0b\u00e9\u2028\x7f"


@st.composite
def nearly_queries(draw: st.DrawFn) -> str:
    """Queries with a change or two, so that most are no queries any more."""
    query = _Writer(draw).query("$", depth=2)
    for _ in range(draw(st.integers(1, 2))):
        at = draw(st.integers(0, len(query)))
        text = draw(st.text(_ALPHABET, max_size=2))
        query = query[:at] + text + query[at + draw(st.integers(0, 2)) :]
    return query
