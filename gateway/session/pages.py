"""records -> pages: the cursor behind MORE and AGAIN (CONTRACT sections 2 and 3)."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from adapters import limits
from adapters.errors import WrongMoment, WrongWords
from gateway.extract.plan import Record
from gateway.session.memory import RECORD_BYTES, Weights
from gateway.session.steps import Steps
from gateway.session.wishes import Outcome, Provenance
from gateway.wire.replies import Reply
from gateway.wire.settings import Settings

CUT, LIMITED, STALE, MISFIT = 1, 2, 4, 8
"""What was done to a record or page, as bits, the worst highest. Plain integers: they are on the hot path."""

FLAGS: Final = tuple(
    next(
        (letter for bit, letter in ((MISFIT, "*"), (STALE, "S"), (LIMITED, "L"), (CUT, "C")) if harm & bit),
        ".",
    )
    for harm in range(2 * MISFIT)
)
"""Harm -> column 16: `*` outranks S outranks L outranks C."""


class Pages(ABC):
    """What one reply has begun to show, and how far the client has read it. `width` is before the mark.

    `account` tells where it came from, for WHY after MORE.
    """

    def __init__(self, width: int) -> None:
        self.width = width
        self.account: Outcome | Provenance | None = None
        self._before = 0  # records of the pages before the last
        self._count = 0  # of the last

    @property
    def position(self) -> str:
        """Which records of all, from 1, the last page shows: a client whose MORE or its answer was lost can
        tell by nothing else. Bare bytes count as records.
        """
        return f"{self._before + 1}-{self._before + self._count}" if self._count else ""

    @property
    @abstractmethod
    def kept(self) -> Weights:
        """What it keeps in memory."""

    def _moved(self, count: int) -> None:
        """A page of so many records is shown; one past the end, without any, leaves the last one."""
        if count:
            self._before += self._count
            self._count = count

    @abstractmethod
    def next_page(self, settings: Settings) -> Steps:
        """The next page, which the world may have to be asked for; without records past the end."""

    @abstractmethod
    def again(self, number: str | None) -> Reply:
        """The last page, or its record `number` (from 1), once more: the same bytes, and nothing is asked."""


class Cursor(Pages):
    """All records of one reply and how far the client has read them.

    Each page is finished by the settings in force when it is asked for; a page that is repeated stays as it
    was. `limited` shows on the page that ends where rows were left out, the last one; `stale` on every page.
    `exact` as in `Reply`.
    """

    def __init__(
        self,
        records: Sequence[Record],
        width: int,
        limited: bool = False,
        stale: bool = False,
        exact: bool = False,
    ) -> None:
        super().__init__(width)
        self._exact = exact
        self._records = records
        self._limited = limited
        self._stale = STALE if stale else 0
        self._next = 0
        self._page: Sequence[Record] = ()
        self._last: Reply | None = None

    @property
    def kept(self) -> Weights:
        """All its records."""
        return ((self._records, len(self._records) * (self.width + RECORD_BYTES)),)

    def next_page(self, settings: Settings) -> Steps:
        """The next page: nothing has to be asked for it."""
        yield from ()
        return self.more(settings)

    def more(self, settings: Settings) -> Reply:
        """The next page (setting `page` 0: all that a status line can count)."""
        if self._last is not None and self._next >= len(self._records):
            return Reply(200, settings)
        size = page_size(settings)
        self._page = self._records[self._next : self._next + size]
        self._next += len(self._page)
        more = self._next < len(self._records)
        harm = self._stale
        for record in self._page:
            if record.misfit or record.cut:
                harm |= harm_of(record)
        if self._limited and not more:
            harm |= LIMITED
        self._moved(len(self._page))
        texts = [each.text for each in self._page]
        self._last = Reply(200, settings, texts, self.width, more, FLAGS[harm], exact=self._exact)
        return self._last

    def again(self, number: str | None) -> Reply:
        """The last page, or its record `number` (from 1), once more."""
        assert self._last is not None  # a cursor is kept once its first page is there
        if number is None:
            return self._last
        record = self._page[record_index(number, len(self._page))]
        flag = FLAGS[harm_of(record) | self._stale]
        return replace(self._last, records=(record.text,), flag=flag)


class Forgotten(Pages):
    """After a reply that was given up for want of memory."""

    def __init__(self) -> None:
        super().__init__(0)

    @property
    def kept(self) -> Weights:
        """Nothing."""
        return ()

    def next_page(self, settings: Settings) -> Steps:
        """There is none."""
        yield from ()
        return self.again(None)

    def again(self, number: str | None) -> Reply:
        """There is none."""
        raise WrongMoment("No longer kept; ask again")


def page_size(settings: Settings) -> int:
    """Records that the next page may have."""
    return min(settings.page or limits.PAGE_RECORDS, limits.PAGE_RECORDS)


def check_raw_bytes(settings: Settings) -> None:
    """WrongMoment where 11h and 13h among bare bytes would be flow control (CONTRACT section 5, `flow`)."""
    if settings.flow == "xon":
        raise WrongMoment("No raw bytes with flow=xon")


def record_index(number: str, count: int) -> int:
    """The index, from 0, of the record that AGAIN names, out of a page of `count`."""
    if not (number.isascii() and number.isdigit() and len(number) <= 5):
        raise WrongWords("AGAIN takes a record's number")
    index = int(number) - 1
    if not 0 <= index < count:
        raise WrongWords(f"The last page has {count} record{'s' * (count != 1)}")
    return index


def harm_of(record: Record) -> int:
    """What was done to one record."""
    return (MISFIT if record.misfit else 0) | (CUT if record.cut else 0)
