"""What one connection has set and done so far, and the small moves that all requests share."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Final, Protocol

from adapters import limits
from adapters.errors import HeadraceError, TooLarge, WrongMoment
from gateway.catalogue.access import Rights
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue
from gateway.extract.plan import Record, Style
from gateway.session.access import Access, access_of
from gateway.session.files.listed_names import ListedNames
from gateway.session.files.numbering import NoNumbers, Numbered
from gateway.session.memory import Memory, Weights
from gateway.session.pages import Cursor, Forgotten, Pages
from gateway.session.steps import Asking, Steps
from gateway.session.visitors import NOBODY, Visitor
from gateway.session.wishes import Done, Outcome, Provenance
from gateway.wire.lines import LineReader
from gateway.wire.replies import Reply
from gateway.wire.settings import Settings

if TYPE_CHECKING:
    from gateway.session.streams.hearing import OpenHearing
    from gateway.session.streams.talking import OpenTalk

_USER_PART: Final = re.compile(r"//[^/\s]*@")
_QUERY_VALUE: Final = re.compile(r"([?&;][^=&;#\s]*=)[^&;#\s]*")
_BARE_QUERY: Final = re.compile(r"([^?\s\[(]\?)[^=&;#\s]+(?=[&;#\s]|$)")  # but not a filter's, `[?@.a]`


def without_secrets(text: str) -> str:
    """A request as WHY and the log may show it: no user part, no query values."""
    return _QUERY_VALUE.sub(r"\1..", _BARE_QUERY.sub(r"\1..", _USER_PART.sub("//", text)))


class Accounts(Protocol):
    """What clients have had: requests and bytes."""

    def charge(self, who: str, rights: Rights) -> None:
        """One request of `who`; AskedTooOften where that is more than the rights allow."""
        ...

    def moved(self, who: str, count: int) -> None:
        """Bytes that passed on their account."""
        ...


class Asker(Protocol):
    """Who is asking: a visitor, and the member that it has logged in as, if any."""

    @property
    def visitor(self) -> Visitor:
        """Whoever is at the line."""
        ...

    @property
    def member(self) -> str:
        """The member's name, empty for nobody."""
        ...

    @property
    def payer(self) -> str | None:
        """The account of its requests and bytes; None where nobody counts them."""
        ...


class _Free:
    """Nothing is counted."""

    def charge(self, who: str, rights: Rights) -> None:
        """As often as wanted."""

    def moved(self, who: str, count: int) -> None:
        """As many as wanted."""


_FREE: Final = _Free()


@dataclass(frozen=True, slots=True)
class World:
    """What a session may look at: the catalogue in force and the clock. Both are asked anew each time.

    `timed`: WHY tells how long each part took, which no two runs have in common.
    """

    catalogue: Callable[[], Catalogue]
    now: Callable[[], datetime]  # aware
    timed: bool = True
    accounts: Accounts = _FREE
    memory: Memory = field(default_factory=Memory)


class Transfer(Protocol):
    """A request that was answered 350 and waits for its data; `request` is for WHY.

    A fault of the data is kept, the rest swallowed, and told after the end.
    """

    request: str
    undone: str  # what has come of it so far, in words: "nothing stored"

    def begin(self, reader: LineReader) -> None:
        """Tell the reader what comes."""
        ...

    def take(self, data: bytes, ends: bool) -> Asking[None]:
        """Some bytes: raw ones, or of a data line, its `>` off; `ends`: the line ends with them."""
        ...

    def spoil(self, error: HeadraceError) -> None:
        """What came cannot be used: `error` is told after the end."""
        ...

    @property
    def complete(self) -> bool:
        """Whether the bytes have all come, and no end has to be waited for."""
        ...

    def flush(self) -> Asking[None]:
        """The end has come: what was gathered is handed on. The transfer can still be dropped."""
        ...

    def deliver(self) -> Steps:
        """The reply, or the fault. The transfer is over."""
        ...

    def drop(self) -> None:
        """The client gave up or is gone."""
        ...


@dataclass(frozen=True, slots=True)
class Fault:
    """What an error had to tell WHY; fields as its own. The error itself would keep alive all that the work
    had in hand, by its traceback.
    """

    far: str
    notes: tuple[tuple[str, str], ...]
    steps: tuple[tuple[str, float], ...]


@dataclass(slots=True)
class Explanation:
    """The last reply, as WHY tells it; filled in as the reply comes about."""

    request: str
    reply: str = ""
    sentence: str = ""
    account: Outcome | Provenance | Done | None = None
    facts: tuple[tuple[str, str], ...] = ()  # pairs of name(8) and text beside the account
    fault: Fault | None = None


@dataclass(slots=True)
class State:
    """One connection. `eol_typed`: the client itself has set `eol`; `eol` is what it comes to for this line,
    never `mirror`. `numbered` is what `#n` stands for.

    `visitor` is who is at the line, and `member` the name of who has logged in, empty for nobody. `explains`:
    the request is WHY, which leaves `explained` as it was. `begun` is what was answered 150 and
    not yet told by WHY to have ended. `loose`: the request has a ref that is seen from a BASE without a slash
    at its end, perhaps not as its client meant it.
    """

    world: World
    profile: str
    settings: Settings
    visitor: Visitor = NOBODY
    member: str = ""
    eol_typed: bool = False
    eol: str = "crlf"
    cursor: Pages | None = None
    transfer: Transfer | None = None
    explained: Explanation | None = None
    explains: bool = False
    base: Ref | None = None
    numbered: Numbered | None = None
    listed_names: ListedNames = field(default_factory=ListedNames)
    begun: list[Done] = field(default_factory=list)
    loose: bool = False
    talk: "OpenTalk | None" = None
    hearing: "OpenHearing | None" = None

    @property
    def access(self) -> Access:
        """What the client may do now."""
        return access_of(self.world.catalogue(), self.visitor, self.member)

    @property
    def payer(self) -> str | None:
        """The name that its requests and bytes are counted under; None where nobody counts them."""
        return self._account if self.access.rights.metered else None

    @property
    def _account(self) -> str:
        return self.member or self.visitor.account

    def check(self, wish: object) -> None:
        """The refusal of what the client may not wish for, if so."""
        self.access.check(wish)

    def charge(self) -> None:
        """One more request; AskedTooOften."""
        rights = self.access.rights
        if rights.metered:
            self.world.accounts.charge(self._account, rights)

    def teller(self) -> Callable[[int], None]:
        """Who is told how many bytes a transfer has carried for whoever asks for it now."""
        payer, accounts = self.payer, self.world.accounts
        return (lambda _: None) if payer is None else (lambda count: accounts.moved(payer, count))

    def forget_member(self) -> None:
        """Nobody is logged in, and what whoever was has seen is not shown to others."""
        if self.member:
            self.member = ""
            self.base = self.cursor = self.numbered = None
            self.listed_names = ListedNames()
            self.begun.clear()

    @property
    def kept(self) -> Weights:
        """What is kept in memory of replies and listings."""
        holding = (each for each in (self.cursor, self.numbered, self.listed_names) if each is not None)
        return [pair for each in holding for pair in each.kept]

    def forget_replies(self) -> None:
        """Memory is wanted for others: MORE, AGAIN and `#n` say so, and WHY tells less."""
        self.cursor = self.cursor and Forgotten()
        self.numbered = self.numbered and NoNumbers("No longer kept; LIST again")
        self.listed_names = ListedNames()
        if self.explained is not None and isinstance(self.explained.account, Outcome):
            self.explained.account = self.explained.account.provenance

    @property
    def room(self) -> int:
        """Characters of a `cols` wide record that are left beside the mark."""
        return self.settings.cols - self.settings.mark

    @property
    def style(self) -> Style:
        """What the layout of values depends on."""
        return Style(self.settings.printed, self.settings.zone)

    @property
    def request_shown(self) -> str:
        """The request being answered, as WHY may show it."""
        return self.explained.request if self.explained is not None else ""

    def typed(self, word: str) -> str:
        """A ref, path or arg as the setting `typed` takes it."""
        return word.lower() if self.settings.typed == "lower" else word

    def check_width(self, width: int) -> None:
        """TooLarge where records of `width`, before mark and check, are wider than the client takes."""
        whole = width + self.settings.added
        if whole > self.settings.most:
            raise TooLarge(f"Records of {whole}; you take {self.settings.most}")

    def account(
        self, account: Outcome | Provenance | Done | None, facts: Sequence[tuple[str, str]] = ()
    ) -> None:
        """How the reply came about, for WHY; `facts` are pairs of a name of up to 8 and a text."""
        if self.explained is not None:
            self.explained.account, self.explained.facts = account, tuple(facts)

    def goes_on(self, outcome: Done) -> None:
        """Keep for WHY what goes on without the client; the oldest gives way, an ended one first."""
        self.begun.append(outcome)
        if len(self.begun) > limits.BEGUN:
            ended = (index for index, each in enumerate(self.begun) if each.ended())
            del self.begun[next(ended, 0)]

    def plain(self, texts: Sequence[str], width: int, flag: str = ".") -> Reply:
        """A reply of records without a cursor; `width` is theirs before the mark."""
        self.check_width(width)
        return Reply(200, self.settings, texts, width, flag=flag)

    def paged(
        self,
        records: Sequence[Record],
        width: int,
        limited: bool = False,
        stale: bool = False,
        account: Outcome | Provenance | None = None,
        *,
        exact: bool = False,
    ) -> Reply:
        """The first page of a new cursor; `width` is the records' before the mark, `exact` as in `Reply`."""
        cursor = Cursor(records, width, limited=limited, stale=stale, exact=exact)
        cursor.account = account
        self.cursor = cursor
        return cursor.more(self.settings)

    def more(self) -> Steps:
        """The cursor's next page; TooLarge where its records have become wider than the client takes."""
        if self.cursor is None:
            raise WrongMoment("No page to go on from")
        self.check_width(self.cursor.width)
        return (yield from self.cursor.next_page(self.settings))
