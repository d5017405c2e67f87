"""The functions of RFC 9535 section 2.4: what each takes and gives."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Final


class Type(Enum):
    """The types that expressions have (section 2.4.1)."""

    VALUE = "a value"
    LOGICAL = "a test"
    NODES = "a path"


@dataclass(frozen=True, slots=True)
class Signature:
    """The parameters' types, in order, and the result's."""

    parameters: tuple[Type, ...]
    result: Type


SIGNATURES: Final[Mapping[str, Signature]] = MappingProxyType(
    {
        "length": Signature((Type.VALUE,), Type.VALUE),  # section 2.4.4
        "count": Signature((Type.NODES,), Type.VALUE),  # section 2.4.5
        "match": Signature((Type.VALUE, Type.VALUE), Type.LOGICAL),  # section 2.4.6
        "search": Signature((Type.VALUE, Type.VALUE), Type.LOGICAL),  # section 2.4.7
        "value": Signature((Type.NODES,), Type.VALUE),  # section 2.4.8
    }
)
