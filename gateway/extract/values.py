"""What a path can pick: node -> Value.

JSON values are Python's own `str`, `bool`, `None`, `dict` (insertion order) and `list`, with every
number a `JsonNumber` that keeps the digits the server sent. XML, HTML and CSV values are `str`.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias


@dataclass(frozen=True, slots=True)
class JsonNumber:
    """A number as the document wrote it (RFC 8259 section 6): no binary rounding, ever.

    Equal where the text is: 1.10 and 1.1 are two literals. `jsonpath.compare` compares values, which costs
    the text's length whatever the exponent is.
    """

    text: str


class Missing(Enum):
    """The type of MISSING: a path that selected nothing. Not null, not empty, not false."""

    MISSING = "missing"


MISSING: Final = Missing.MISSING

JsonValue: TypeAlias = "str | JsonNumber | bool | dict[str, JsonValue] | list[JsonValue] | None"
Value: TypeAlias = "JsonValue | Missing"
