"""What a test wants of a path -> Answer: the bytes that go out, right or wrong, and what happens then."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Any, Final, Self

_REASONS: Final = MappingProxyType({200: "OK", 302: "Found", 404: "Not Found", 429: "Too Many Requests"})
_JSON: Final = "application/json"
_NONE: Final[Mapping[str, str]] = MappingProxyType({})
_INSTEAD: Final = b'{"note": "a document that does not come whole"}'


class Then(Enum):
    """What follows the bytes."""

    KEEP = "the next request is waited for"
    CLOSE = "the connection is closed (FIN)"
    RESET = "the connection is reset (RST)"
    HOLD = "nothing, until the other side goes"


@dataclass(frozen=True, slots=True)
class Answer:
    """`head` and `body` go out after `delay` seconds; `drip` is the seconds between two bytes of the body.

    A HEAD request gets no body.
    """

    head: bytes = b""
    body: bytes = b""
    then: Then = Then.KEEP
    delay: float = 0.0
    drip: float = 0.0


def head_of(status: int, fields: Mapping[str, str], length: int | None) -> bytes:
    """A status line and a header section (RFC 9112); `length` is what Content-Length says, None for none."""
    lines = [f"HTTP/1.1 {status} {_REASONS.get(status, 'Told by the test')}"]
    lines += [f"{name}: {value}" for name, value in fields.items()]
    if length is not None and status >= 200 and status != 204:
        lines.append(f"Content-Length: {length}")
    return "\r\n".join([*lines, "", ""]).encode("latin-1")


class Route:
    """What one path is answered: in the order in which it was told, the last for all further requests.

    Every method adds an answer and gives the route again, so that they can be strung together.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        self._answers: list[Answer] = []
        self._given = 0

    def next_answer(self) -> Answer | None:
        """The next one, or None where nothing was told."""
        if not self._answers:
            return None
        self._given += 1
        return self._answers[min(self._given, len(self._answers)) - 1]

    def add(self, answer: Answer) -> Self:
        """An answer made by hand."""
        self._answers.append(answer)
        return self

    # Answers

    def data(
        self,
        body: bytes,
        media_type: str = "application/octet-stream",
        *,
        status: int = 200,
        headers: Mapping[str, str] = _NONE,
        delay: float = 0.0,
        drip: float = 0.0,
    ) -> Self:
        """Bytes; `delay` seconds before they begin, `drip` seconds between them."""
        fields = {"Content-Type": media_type, **headers}
        return self.add(Answer(head_of(status, fields, len(body)), body, delay=delay, drip=drip))

    def text(self, body: str, media_type: str = "text/plain; charset=utf-8", **more: Any) -> Self:
        """A text, as UTF-8; `more` as in `data`."""
        return self.data(body.encode(), media_type, **more)

    def json(self, document: object, **more: Any) -> Self:
        """A JSON document (RFC 8259), written from Python's values; `more` as in `data`."""
        return self.text(json.dumps(document), _JSON, **more)

    def status(self, status: int, *, retry_after: int | str | None = None, body: bytes = b"") -> Self:
        """Only a status, perhaps with a Retry-After of so many seconds or a date."""
        fields = {} if retry_after is None else {"Retry-After": str(retry_after)}
        return self.add(Answer(head_of(status, fields, len(body)), body))

    def redirect(self, to: str, status: int = 302) -> Self:
        """Another address."""
        return self.add(Answer(head_of(status, {"Location": to}, 0)))

    # Failures

    def slow(self, seconds: float = 5.0, body: bytes = _INSTEAD) -> Self:
        """A good answer, so late."""
        return self.data(body, _JSON, delay=seconds)

    def silent(self) -> Self:
        """The request is taken, and no answer ever comes."""
        return self.add(Answer(then=Then.HOLD))

    def cut(self, body: bytes = _INSTEAD, sent: int | None = None) -> Self:
        """The connection is closed in the body, after `sent` bytes of it: half, if not said."""
        part = body[: len(body) // 2 if sent is None else sent]
        return self.add(Answer(head_of(200, {"Content-Type": _JSON}, len(body)), part, Then.CLOSE))

    def reset(self, body: bytes | None = None, sent: int | None = None) -> Self:
        """The connection is reset instead of an answer, or with a `body` after `sent` bytes of it."""
        if body is None:
            return self.add(Answer(then=Then.RESET))
        part = body[: len(body) // 2 if sent is None else sent]
        return self.add(Answer(head_of(200, {"Content-Type": _JSON}, len(body)), part, Then.RESET))

    def malformed_status(self, line: bytes = b"HTTP/1.1 fine") -> Self:
        """A first line that is no status line of HTTP."""
        return self.add(Answer(line + b"\r\nContent-Length: 0\r\n\r\n", then=Then.CLOSE))

    def malformed_chunk(self, body: bytes = _INSTEAD) -> Self:
        """A chunked body whose second chunk has no size (RFC 9112 section 7.1)."""
        fields = {"Content-Type": _JSON, "Transfer-Encoding": "chunked"}
        chunks = b"%x\r\n%s\r\nno size\r\n" % (len(body), body)
        return self.add(Answer(head_of(200, fields, None), chunks, Then.CLOSE))

    def wrong_length(self, body: bytes = _INSTEAD, announced: int | None = None) -> Self:
        """Content-Length says `announced`, ten less than there are if not said. The connection is closed."""
        length = max(0, len(body) - 10) if announced is None else announced
        return self.add(Answer(head_of(200, {"Content-Type": _JSON}, length), body, Then.CLOSE))

    def asked_too_often(self, seconds: int = 30) -> Self:
        """429, with the seconds to wait (RFC 6585 section 4)."""
        return self.status(429, retry_after=seconds)

    def failing(self) -> Self:
        """500."""
        return self.status(500)

    def redirect_loop(self) -> Self:
        """A redirect to this very path."""
        return self.redirect(self.path)

    def fail(self, name: str) -> Self:
        """One of FAILURES with its defaults, by name: for tests that go through all of them."""
        if name not in FAILURES:
            raise ValueError(f"no failure {name!r}; there are {' '.join(FAILURES)}")
        FAILURES[name](self)
        return self


FAILURES: Final[Mapping[str, Callable[[Route], Route]]] = MappingProxyType(
    {
        "slow": Route.slow,
        "silent": Route.silent,
        "cut": Route.cut,
        "reset": Route.reset,
        "malformed_status": Route.malformed_status,
        "malformed_chunk": Route.malformed_chunk,
        "wrong_length": Route.wrong_length,
        "asked_too_often": Route.asked_too_often,
        "failing": Route.failing,
        "redirect_loop": Route.redirect_loop,
    }
)
"""What a path can do wrong. A server that refuses connections, or has a wrong certificate, is no path's."""
