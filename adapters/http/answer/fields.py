"""A header section -> its fields by name (RFC 9110 section 5)."""

from collections.abc import Iterable


class Fields:
    """Names are case-blind. Values are text with a character for each byte (ISO 8859-1), blanks trimmed."""

    def __init__(self, raw: Iterable[tuple[bytes, bytes]]) -> None:
        self._values: dict[str, list[str]] = {}
        for name, value in raw:
            self._values.setdefault(name.decode("latin-1").lower(), []).append(
                value.decode("latin-1").strip(" \t")
            )

    def all(self, name: str) -> list[str]:
        """Every value of `name`, which is in lower case, in the order sent."""
        return self._values.get(name, [])

    def first(self, name: str) -> str | None:
        """The first value, for fields that should come once."""
        values = self._values.get(name)
        return values[0] if values else None

    def joined(self, name: str) -> str:
        """All values as one list (RFC 9110 section 5.3), or nothing."""
        return ", ".join(self._values.get(name, ()))
