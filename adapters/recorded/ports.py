"""The two sides of a folder of recordings: one that takes exchanges in, and one that finds them again."""

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from adapters.recorded.exchange import Asked, Content, Exchange, Reply


class Draft(Protocol):
    """An exchange under way. Its body goes to a file as it comes; nothing of it is kept before `keep`."""

    def add(self, data: bytes) -> None:
        """More of the reply's body. Never raises: a full disk is told in the log, and nothing is kept."""
        ...

    def content(self) -> Content:
        """What was added, to be put in the reply that is given to `keep`."""
        ...

    def keep(self, asked: Asked, reply: Reply) -> None:
        """The exchange is complete: it is in the folder when this returns. Never raises, as above."""
        ...

    def drop(self) -> None:
        """Nothing is kept, such as where the client gave up. Harmless after `keep`."""
        ...


class Recorder(Protocol):
    """Takes exchanges in. Belongs to the event loop's thread; several drafts may be under way at once."""

    def draft(self) -> Draft:
        """An exchange that begins now."""
        ...


@dataclass(frozen=True, slots=True)
class Miss:
    """Nothing was recorded for that. `nearest` describes the recording that comes nearest, such as
    "GET http://tides.example/mole.json", `differs` the part that is different, such as "the query: top";
    both empty in an empty folder. Neither holds a query's values.
    """

    nearest: str = ""
    differs: str = ""


class Recordings(Protocol):
    """Finds exchanges again. Belongs to the event loop's thread."""

    def find(self, asked: Asked) -> list[Exchange]:
        """All exchanges of this method, URL (its query without order) and body, in the order they happened.

        `headers`, `offset`, `count` and `request` of `asked` are not looked at. An exchange with `times`
        above 1 comes once.
        """
        ...

    def missing(self, asked: Asked) -> Miss:
        """What to say where nothing was found."""
        ...

    def used(self, exchange: Exchange) -> None:
        """It was played in this run."""
        ...


class Clock(Protocol):
    """The time that replies are made by."""

    def __call__(self) -> datetime:
        """Aware, in UTC."""
        ...
