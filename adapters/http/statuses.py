"""HTTP status -> nothing, or the error it stands for: the one table, which README.md prints.

RFC 9110 section 15, and for WebDAV RFC 4918 section 11. A status without a row counts as its class
(RFC 9110 section 15). The right-hand code is for calls that change something: 558 wherever the far server
may have acted, the same code where its answer says that it did not.
"""

from dataclasses import dataclass
from typing import Final

from adapters import limits
from adapters.errors import (
    AskedTooOften,
    ChangedMeanwhile,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    NotPossible,
    NotThere,
    TooLarge,
    TooSlow,
    WrongDocument,
    WrongWords,
)

REDIRECT_STATUSES: Final = frozenset({301, 302, 303, 307, 308})
"""Those that adapters.http.redirects follows."""


@dataclass(frozen=True, slots=True)
class StatusRow:
    """One line of the table. `statuses` are single ones; `hundreds` is a whole class, such as 4.

    `fault` is None where the call went well, or where the status is followed or asked for. `sentence` is
    for the client, `meaning` for the table. `may_be_done`: a call that changes something may have done it.
    """

    statuses: tuple[int, ...]
    meaning: str
    fault: type[HeadraceError] | None = None
    sentence: str = ""
    may_be_done: bool = False
    hundreds: int = 0

    @property
    def label(self) -> str:
        """The statuses, as the table shows them."""
        if self.hundreds:
            return f"other {self.hundreds}xx" if self.hundreds < 6 else "600 and above"
        return " ".join(str(status) for status in self.statuses)

    @property
    def code(self) -> int:
        """The reply code for a call that only asks."""
        return self.fault.code if self.fault is not None else 200

    @property
    def changing_code(self) -> int:
        """The reply code for a call that changes something."""
        return MayBeDone.code if self.may_be_done else self.code


_REFUSED = "The far server does not allow that"
_WORDS = "The far server refuses these words"
_THERE = "Not there"
_METHOD = "The far server cannot do that"
_KIND = "The far server has no such document"
_FAILING = "The far server is failing"

STATUS_TABLE: Final = (
    StatusRow((200, 201, 202, 203), "done"),
    StatusRow((204, 205), "done, no document"),
    StatusRow((206,), "done; a part, where a part was asked for"),
    StatusRow((), "done", hundreds=2),
    StatusRow((301, 302, 303, 307, 308), "another address: followed"),
    StatusRow((304,), "the kept copy is still good"),
    StatusRow((), "no document", WrongDocument, _KIND, may_be_done=True, hundreds=3),
    StatusRow(
        (401, 407), "credentials missing or wrong", CredentialsRefused, "The far server refuses our login"
    ),
    StatusRow((402, 451), "not without paying; for legal reasons", NotAllowed, _REFUSED),
    StatusRow((403,), "forbidden; 533 where credentials were sent", NotAllowed, _REFUSED),
    StatusRow((404, 410), "not there, or not any more", NotThere, _THERE),
    StatusRow((405, 417, 424, 426, 428), "a method or expectation it does not take", NotPossible, _METHOD),
    StatusRow((406, 415), "not in the kind of document asked for or sent", WrongDocument, _KIND),
    StatusRow(
        (408,),
        "it waited too long for the request",
        TooSlow,
        "The far server took too long",
        may_be_done=True,
    ),
    StatusRow(
        (409, 412),
        "changed meanwhile, or already there",
        ChangedMeanwhile,
        "Changed meanwhile, or already there",
    ),
    StatusRow((413, 431), "more than it takes", TooLarge, "Too large for the far server"),
    StatusRow((421, 423, 425), "not now: misdirected, locked, too early", FarBusy, "The far server is busy"),
    StatusRow(
        (429,), "asked too often; the seconds are Retry-After's", AskedTooOften, "Asked too often; wait"
    ),
    StatusRow((), "words it does not understand or take", WrongWords, _WORDS, hundreds=4),
    StatusRow((501, 505), "a method or version it does not have", NotPossible, _METHOD, may_be_done=True),
    StatusRow((503,), "busy; with the seconds of a Retry-After", FarBusy, "The far server is busy"),
    StatusRow(
        (), "failing; with the seconds of a Retry-After", FarBusy, _FAILING, may_be_done=True, hundreds=5
    ),
    StatusRow((), "an upgrade nobody asked for", WrongDocument, _KIND, may_be_done=True, hundreds=1),
    StatusRow((), "no status at all", WrongDocument, _KIND, may_be_done=True, hundreds=6),
)
"""Every status has exactly one row."""

_BY_STATUS: Final = {status: row for row in STATUS_TABLE for status in row.statuses}
_BY_CLASS: Final = {row.hundreds: row for row in STATUS_TABLE if row.hundreds}


def status_row(status: int) -> StatusRow:
    """The row that holds for a status from 100 to 999."""
    return _BY_STATUS.get(status) or _BY_CLASS[min(status // 100, 6)]


def status_fault(
    status: int, *, changes: bool, with_credentials: bool, seconds: int | None
) -> HeadraceError | None:
    """The error to raise for a final status, or None where it went well or is to be followed.

    `seconds` is what Retry-After says. `with_credentials`: the request carried the gateway's own.
    """
    row = status_row(status)
    if row.fault is None:
        return None
    if changes and row.may_be_done:
        return MayBeDone()
    if status == 403 and with_credentials:
        return CredentialsRefused()
    if issubclass(row.fault, AskedTooOften):
        return AskedTooOften(row.sentence, limits.RETRY_DEFAULT_SECONDS if seconds is None else seconds)
    if issubclass(row.fault, FarBusy):
        return FarBusy(row.sentence, seconds)
    return row.fault(row.sentence)
