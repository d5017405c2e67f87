"""An exchange under way -> its body in a file as it comes, and the whole of it handed on at the end."""

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Protocol

from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Reply
from adapters.recorded.hiding import BodyHiding
from adapters.recorded.ports import Draft
from adapters.recorded.tree.disk import Part


class Store(Protocol):
    """Takes a whole exchange. `part` holds the reply's body, hidden; `changed`: some was."""

    def __call__(self, exchange: Exchange, part: Part | None, *, changed: bool) -> object:
        """OSError and ValueError where it cannot be kept; `part` is then the caller's still."""
        ...


class FileDraft(Draft):
    """`begun` is the time of its beginning; `part` makes a file; `failed` is told why nothing is kept."""

    def __init__(
        self,
        begun: datetime,
        hiding: BodyHiding,
        part: Callable[[], Part],
        store: Store,
        failed: Callable[[Exception], object],
    ) -> None:
        self._begun = begun
        self._start = time.monotonic()
        self._hiding = hiding
        self._make_part = part
        self._store = store
        self._failed = failed
        self._part: Part | None = None
        self._over = False

    def add(self, data: bytes) -> None:
        """More of the reply's body."""
        self._write(self._hiding.feed(data))

    def content(self) -> Content:
        """What was added, without its secrets."""
        self._write(self._hiding.finish())
        return Content() if self._part is None else Content(path=self._part.path)

    def keep(self, asked: Asked, reply: Reply) -> None:
        """It is complete."""
        if self._over:
            return
        took = round(time.monotonic() - self._start, 6)
        content = None if isinstance(reply, Failure) else reply.content
        own = self._part is not None and content is not None and content.path == self._part.path
        try:
            exchange = Exchange(asked, reply, self._begun, took)
            self._store(exchange, self._part if own else None, changed=own and self._hiding.changed)
        except (OSError, ValueError) as error:
            self._failed(error)
        finally:
            self.drop()

    def drop(self) -> None:
        """It is not wanted."""
        self._over = True
        if self._part is not None:
            self._part.drop()
            self._part = None

    def _write(self, data: bytes) -> None:
        if self._over or not data:
            return
        try:
            if self._part is None:
                self._part = self._make_part()
            self._part.write(data)
        except OSError as error:
            self._failed(error)
            self.drop()


def content_of(reply: Reply) -> Content | None:
    """Its body, where it has one."""
    return None if isinstance(reply, Failure) else reply.content


def with_content(reply: Reply, content: Content | None) -> Reply:
    """The same with that body."""
    return reply if isinstance(reply, Failure) else replace(reply, content=content)
