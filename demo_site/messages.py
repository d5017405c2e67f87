"""What goes into the demo site and comes out of it, with no socket in sight: frozen HTTP messages."""

from dataclasses import dataclass

Headers = tuple[tuple[str, str], ...]
"""Field names and values, in order; a name may come more than once (RFC 9110 section 5.2)."""


def _combined(headers: Headers, name: str) -> str | None:
    values = [value for each, value in headers if each.lower() == name.lower()]
    return ", ".join(values) if values else None


@dataclass(frozen=True, slots=True)
class SiteRequest:
    """One HTTP request, complete.

    `path` is percent-decoded and begins with a slash; `query` is what followed the question mark, as sent.
    """

    method: str
    path: str
    query: str = ""
    headers: Headers = ()
    body: bytes = b""

    def header(self, name: str) -> str | None:
        """A field's value, several lines joined by commas (RFC 9110 section 5.3); None without one."""
        return _combined(self.headers, name)


@dataclass(frozen=True, slots=True)
class SiteResponse:
    """One HTTP response, complete; `body` is empty for HEAD and 304, as on the wire."""

    status: int
    headers: Headers = ()
    body: bytes = b""

    def header(self, name: str) -> str | None:
        """A field's value, several lines joined by commas (RFC 9110 section 5.3); None without one."""
        return _combined(self.headers, name)
