"""records -> pages: the cursor behind MORE and AGAIN (CONTRACT sections 2 and 3)."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag

from adapters import limits
from adapters.errors import WrongMoment, WrongWords
from gateway.wire.replies import Reply


class Harm(IntFlag):
    """What was done to a record or page, the worst highest."""

    NONE = 0
    CUT = 1
    LIMITED = 2
    STALE = 4
    MISFIT = 8

    @property
    def flag(self) -> str:
        """Column 16: `*` outranks S outranks L outranks C."""
        for harm, letter in ((Harm.MISFIT, "*"), (Harm.STALE, "S"), (Harm.LIMITED, "L"), (Harm.CUT, "C")):
            if harm in self:
                return letter
        return "."


@dataclass(frozen=True, slots=True)
class Finished:
    """One finished record and what was done to it."""

    text: str
    harm: Harm = Harm.NONE


class Cursor:
    """All records of one reply and how far the client has read them.

    `limited` shows on the page that ends where rows were left out, the last one; `stale` on every page.
    """

    def __init__(self, records: Sequence[Finished], width: int, limited: bool, stale: bool) -> None:
        self._records = records
        self._width = width
        self._limited = limited
        self._stale = Harm.STALE if stale else Harm.NONE
        self._next = 0
        self._page: Sequence[Finished] = ()
        self._last: Reply | None = None

    def more(self, page: int) -> Reply:
        """The next page of at most `page` records (0: all that a status line can count)."""
        if self._last is not None and self._next >= len(self._records):
            return Reply(200)
        size = min(page or limits.PAGE_RECORDS, limits.PAGE_RECORDS)
        self._page = self._records[self._next : self._next + size]
        self._next += len(self._page)
        more = self._next < len(self._records)
        harm = self._stale
        for record in self._page:
            harm |= record.harm
        if self._limited and not more:
            harm |= Harm.LIMITED
        self._last = Reply(200, tuple(each.text for each in self._page), self._width, more, harm.flag)
        return self._last

    def again(self, number: str | None) -> Reply:
        """The last page, or its record `number` (from 1), once more."""
        if self._last is None:
            raise WrongMoment("No page to repeat")
        if number is None:
            return self._last
        if not (number.isascii() and number.isdigit() and len(number) <= 5):
            raise WrongWords("AGAIN takes a record's number")
        index = int(number) - 1
        if not 0 <= index < len(self._page):
            raise WrongWords(f"The last page has {len(self._page)} records")
        record = self._page[index]
        flag = (record.harm | self._stale).flag
        return Reply(200, (record.text,), self._width, self._last.more, flag)
