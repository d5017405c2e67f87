"""What a path can pick: node -> Value.

JSON values are Python's own `str`, `bool`, `None`, `dict` (insertion order) and `list`, with every
number a `JsonNumber` that keeps the digits the server sent. XML, HTML and CSV values are `str`.
"""

from enum import Enum
from typing import Final, TypeAlias


class JsonNumber:
    """A number as the document wrote it (RFC 8259 section 6): no binary rounding, ever.

    Equal where the text is: 1.10 and 1.1 are two literals. `jsonpath.compare` compares values, which costs
    the text's length whatever the exponent is.
    """

    __slots__ = ("text",)  # and no dataclass: a document may hold a million of them

    def __init__(self, text: str) -> None:
        self.text = text

    def __eq__(self, other: object) -> bool:
        return isinstance(other, JsonNumber) and self.text == other.text

    def __hash__(self) -> int:
        return hash(self.text)

    def __repr__(self) -> str:
        return f"JsonNumber({self.text!r})"


class Missing(Enum):
    """The type of MISSING: a path that selected nothing. Not null, not empty, not false."""

    MISSING = "missing"


MISSING: Final = Missing.MISSING

JsonValue: TypeAlias = "str | JsonNumber | bool | dict[str, JsonValue] | list[JsonValue] | None"
Value: TypeAlias = "JsonValue | Missing"
