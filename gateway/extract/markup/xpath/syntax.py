"""What a parsed XPath consists of: frozen nodes, each knowing the type of its result.

XPath 1.0 without variables has static types: a path gives nodes, a function what section 4 says, an operator
what section 3 says. So what has the wrong type is found when a path is compiled.
"""

from dataclasses import dataclass
from enum import Enum
from typing import ClassVar, TypeAlias


class Kind(Enum):
    """The four types of XPath 1.0 section 1."""

    NODES = "node-set"
    STRING = "string"
    NUMBER = "number"
    BOOLEAN = "boolean"


@dataclass(frozen=True, slots=True)
class Number:
    """A number written in the path."""

    value: float
    kind: ClassVar[Kind] = Kind.NUMBER


@dataclass(frozen=True, slots=True)
class Literal:
    """A string written in the path."""

    value: str
    kind: ClassVar[Kind] = Kind.STRING


@dataclass(frozen=True, slots=True)
class Negation:
    """Any odd number of minus signs, or an even one: either makes a number of its operand."""

    operand: "Expression"
    odd: bool
    kind: ClassVar[Kind] = Kind.NUMBER


@dataclass(frozen=True, slots=True)
class Chain:
    """Operands joined by operators of one strength, from left to right."""

    first: "Expression"
    rest: "tuple[tuple[str, Expression], ...]"
    kind: Kind


@dataclass(frozen=True, slots=True)
class Union:
    """The nodes of all operands, each once, in document order."""

    operands: "tuple[Expression, ...]"
    kind: ClassVar[Kind] = Kind.NODES


@dataclass(frozen=True, slots=True)
class Call:
    """A function of the core library (section 4)."""

    name: str
    arguments: "tuple[Expression, ...]"
    kind: Kind


@dataclass(frozen=True, slots=True)
class NameTest:
    """A name test. `uri` None: no prefix was written. `local` may be `*`. `prefix` as it was written."""

    uri: str | None
    local: str
    prefix: str | None = None


@dataclass(frozen=True, slots=True)
class TypeTest:
    """A node type test: `node`, `text`, or one of the types that no document here has any of.

    `parent`, which nobody can write, is what `//` needs before most axes: elements and the document.
    """

    type: str


@dataclass(frozen=True, slots=True)
class Predicate:
    """A condition. `positional`: its outcome may depend on a node's place among the candidates."""

    condition: "Expression"
    positional: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One location step (section 2.1)."""

    axis: str
    test: NameTest | TypeTest
    predicates: tuple[Predicate, ...] = ()


@dataclass(frozen=True, slots=True)
class Filter:
    """An expression's nodes, filtered (section 3.3)."""

    nodes: "Expression"
    predicates: tuple[Predicate, ...]
    kind: ClassVar[Kind] = Kind.NODES


@dataclass(frozen=True, slots=True)
class Path:
    """Steps from the nodes of `start`, from the document (`absolute`), or else from the context node."""

    start: "Expression | None"
    absolute: bool
    steps: tuple[Step, ...]
    kind: ClassVar[Kind] = Kind.NODES


Expression: TypeAlias = "Number | Literal | Negation | Chain | Union | Call | Filter | Path"
