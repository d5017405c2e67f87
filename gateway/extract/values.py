"""What a path can pick: node -> Value.

JSON values are Python's own `str`, `bool`, `None`, `dict` (insertion order) and `list`, with every
number a `JsonNumber` that keeps the digits the server sent. XML, HTML and CSV values are `str`.
"""

from decimal import Decimal
from enum import Enum
from typing import Final, TypeAlias

from adapters import limits


class JsonNumber:
    """A number as the document wrote it (RFC 8259 section 6): no binary rounding, ever.

    Equal and ordered by exact decimal value; `text` is the literal itself.
    """

    __slots__ = ("text",)

    def __init__(self, text: str) -> None:
        self.text = text

    def decimal(self) -> Decimal:
        """The exact value. Callers that expand it check `limits.DIGITS` first (see `numbers`)."""
        return Decimal(self.text)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, JsonNumber) and (
            self.text == other.text or self.decimal() == other.decimal()
        )

    def __lt__(self, other: "JsonNumber") -> bool:
        return self.decimal() < other.decimal()

    def __hash__(self) -> int:
        return hash(self.decimal().normalize()) if len(self.text) <= limits.DIGITS else hash(self.text)

    def __repr__(self) -> str:
        return f"JsonNumber({self.text!r})"


class Missing(Enum):
    """The type of MISSING: a path that selected nothing. Not null, not empty, not false."""

    MISSING = "missing"


MISSING: Final = Missing.MISSING

JsonValue: TypeAlias = "str | JsonNumber | bool | dict[str, JsonValue] | list[JsonValue] | None"
Value: TypeAlias = "JsonValue | Missing"
