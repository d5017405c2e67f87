"""What one connection has set and done so far, and the small moves that all requests share."""

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from adapters.errors import HeadraceError, TooLarge, WrongMoment
from gateway.catalogue.model import Catalogue, Source
from gateway.extract.plan import Record, Style
from gateway.session.pages import Cursor
from gateway.session.wishes import Outcome
from gateway.wire.replies import Reply
from gateway.wire.settings import Settings

_USER_PART: Final = re.compile(r"//[^/\s]*@")
_QUERY_VALUE: Final = re.compile(r"([?&;][^=&;#\s]*=)[^&;#\s]*")
_BARE_QUERY: Final = re.compile(r"(://[^?\s]*\?)[^=&;#\s]+(?=[&;#\s]|$)")


def without_secrets(text: str) -> str:
    """A request as WHY and the log may show it: no user part, no query values."""
    return _QUERY_VALUE.sub(r"\1..", _BARE_QUERY.sub(r"\1..", _USER_PART.sub("//", text)))


@dataclass(frozen=True, slots=True)
class World:
    """What a session may look at: the catalogue in force and the clock. Both are asked anew each time."""

    catalogue: Callable[[], Catalogue]
    now: Callable[[], datetime]  # aware


@dataclass(slots=True)
class Transfer:
    """A TELL that waits for its data lines; `fault` is told after the end."""

    source: Source
    args: tuple[str, ...]
    request: str
    text: io.StringIO = field(default_factory=io.StringIO)
    size: int = 0
    fault: HeadraceError | None = None


@dataclass(slots=True)
class Explanation:
    """The last reply, as WHY tells it; filled in as the reply comes about."""

    request: str
    reply: str = ""
    sentence: str = ""
    outcome: Outcome | None = None
    fault: HeadraceError | None = None


@dataclass(slots=True)
class State:
    """One connection. `eol_typed`: the client itself has set `eol`."""

    world: World
    profile: str
    settings: Settings
    eol_typed: bool = False
    cursor: Cursor | None = None
    transfer: Transfer | None = None
    explained: Explanation | None = None

    @property
    def room(self) -> int:
        """Characters of a `cols` wide record that are left beside the mark."""
        return self.settings.cols - self.settings.mark

    @property
    def style(self) -> Style:
        """What the layout of values depends on."""
        return Style(self.settings.printed, self.settings.zone)

    def typed(self, word: str) -> str:
        """A ref, path or arg as the setting `typed` takes it."""
        return word.lower() if self.settings.typed == "lower" else word

    def check_width(self, width: int) -> None:
        """TooLarge where records of `width`, before the mark, are wider than the client takes."""
        whole = width + self.settings.mark
        if whole > self.settings.most:
            raise TooLarge(f"Records of {whole}; you take {self.settings.most}")

    def plain(self, texts: Sequence[str], width: int, flag: str = ".") -> Reply:
        """A reply of records without a cursor; `width` is theirs before the mark."""
        self.check_width(width)
        return Reply(200, self.settings, texts, width, flag=flag)

    def paged(
        self, records: Sequence[Record], width: int, limited: bool = False, stale: bool = False
    ) -> Reply:
        """The first page of a new cursor; `width` is the records' before the mark."""
        self.cursor = Cursor(records, width, limited=limited, stale=stale)
        return self.cursor.more(self.settings)

    def more(self) -> Reply:
        """The cursor's next page; TooLarge where its records have become wider than the client takes."""
        if self.cursor is None:
            raise WrongMoment("No page to go on from")
        self.check_width(self.cursor.width)
        return self.cursor.more(self.settings)
