"""The tree of a JSONPath query (RFC 9535), as the grammar builds it and every evaluator reads it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from gateway.extract.values import JsonNumber


@dataclass(frozen=True, slots=True)
class NameSelector:
    """One member of an object (section 2.3.1)."""

    name: str


@dataclass(frozen=True, slots=True)
class WildcardSelector:
    """Every child of an object or array (section 2.3.2)."""


@dataclass(frozen=True, slots=True)
class IndexSelector:
    """One element of an array, from its end where negative (section 2.3.3)."""

    index: int


@dataclass(frozen=True, slots=True)
class SliceSelector:
    """Elements of an array at regular distances (section 2.3.4); None is the default."""

    start: int | None
    end: int | None
    step: int | None


@dataclass(frozen=True, slots=True)
class FilterSelector:
    """Every child that passes the test (section 2.3.5)."""

    test: "Test"


Selector: TypeAlias = NameSelector | WildcardSelector | IndexSelector | SliceSelector | FilterSelector


@dataclass(frozen=True, slots=True)
class Segment:
    """Selectors that are applied to each node, or to it and all its descendants (section 2.5)."""

    selectors: tuple[Selector, ...]
    descendant: bool = False


@dataclass(frozen=True, slots=True)
class Query:
    """Segments from the root (`$`), or from the current node of a filter (`@`)."""

    segments: tuple[Segment, ...]
    absolute: bool = True

    @property
    def singular(self) -> bool:
        """Whether it selects at most one node of any value, by its form (section 2.3.5.1)."""
        return all(
            not segment.descendant
            and len(segment.selectors) == 1
            and isinstance(segment.selectors[0], (NameSelector, IndexSelector))
            for segment in self.segments
        )


@dataclass(frozen=True, slots=True)
class Literal:
    """A string, number, true, false or null in a filter."""

    value: str | JsonNumber | bool | None


@dataclass(frozen=True, slots=True)
class FunctionCall:
    """A well-typed call of a function (section 2.4)."""

    name: str
    arguments: tuple["Operand", ...]


Operand: TypeAlias = Literal | Query | FunctionCall


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two values compared by one of == != < <= > >= (section 2.3.5.2.2)."""

    left: Operand
    operator: str
    right: Operand


@dataclass(frozen=True, slots=True)
class Exists:
    """Whether a query selects anything, or what a logical function says."""

    subject: Query | FunctionCall


@dataclass(frozen=True, slots=True)
class Not:
    """The opposite of a test."""

    test: "Test"


@dataclass(frozen=True, slots=True)
class Every:
    """All tests, joined by &&."""

    tests: Sequence["Test"]


@dataclass(frozen=True, slots=True)
class Either:
    """At least one test, joined by ||."""

    tests: Sequence["Test"]


Test: TypeAlias = Comparison | Exists | Not | Every | Either
