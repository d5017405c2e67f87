"""FTP reply -> nothing, or the error it stands for: the one table, which README.md prints.

RFC 959 section 4.2, RFC 2228 section 5 and RFC 4217 for the TLS codes, RFC 2428 for 522; 430 is common
practice. A reply without a row counts as its first digit. The right-hand code is for calls that change
something: 558 only where the command that acts on the target itself was sent and no reply to it came; a
refusal says that nothing was done, so the code is the same.

550 stands for everything that goes wrong with a file, and servers differ in their texts. The rule: 550 is
NotThere, unless its text, the name itself left out, has a word for a missing right and none for a missing
file, or the command was to put something in a folder that is known to be there: then it is NotAllowed.
"""

import re
from dataclasses import dataclass
from typing import Final

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    CredentialsRefused,
    FarBusy,
    HeadraceError,
    MayBeDone,
    NameNotAllowed,
    NotAllowed,
    NotPossible,
    NotThere,
    TooLarge,
    WrongDocument,
)


@dataclass(frozen=True, slots=True)
class ReplyRow:
    """One line of the table. `replies` are single codes; `hundreds` is a whole first digit, such as 4.

    `fault` is None where the call went on or well. `sentence` is for the client, `meaning` for the table.
    """

    replies: tuple[int, ...]
    meaning: str
    fault: type[HeadraceError] | None = None
    sentence: str = ""
    hundreds: int = 0

    @property
    def label(self) -> str:
        """The codes, as the table shows them."""
        return f"other {self.hundreds}xx" if self.hundreds else " ".join(str(each) for each in self.replies)

    @property
    def code(self) -> int:
        """The reply code for a call that only asks."""
        return self.fault.code if self.fault is not None else 200

    @property
    def changing_code(self) -> int:
        """The reply code for a call that changes something."""
        return self.code


_BUSY: Final = "The far server is busy"
_FAILING: Final = "The far server is failing"
_NO_LOGIN: Final = "The far server refuses our login"
_CANNOT: Final = "The far server cannot do that"
_REFUSED: Final = "The far server does not allow that"

REPLY_TABLE: Final = (
    ReplyRow((110, 120, 125, 150), "begun, or soon ready: waited for"),
    ReplyRow((331, 334, 350), "more is wanted: sent"),
    ReplyRow((), "done", hundreds=2),
    ReplyRow((421,), "it ends the connection: full, idle or going down", FarBusy, _BUSY),
    ReplyRow((425,), "no data connection", CannotConnect, "No data connection"),
    ReplyRow((426,), "the data connection broke", BrokenOff, "The far server broke off"),
    ReplyRow((430, 530), "login missing or wrong", CredentialsRefused, _NO_LOGIN),
    ReplyRow((332, 532), "an account is wanted beside the login", CredentialsRefused, _NO_LOGIN),
    ReplyRow((450,), "file busy; an empty folder where one was to be listed", FarBusy, _BUSY),
    ReplyRow((452,), "no room there", FarBusy, "The far server has no room"),
    ReplyRow((), "failing for now", FarBusy, _FAILING, hundreds=4),
    ReplyRow((500, 501, 502, 503, 504, 522), "a command it does not have or take", NotPossible, _CANNOT),
    ReplyRow((521, 533, 534, 536), "it wants or refuses protection, RFC 4217", NotAllowed, _REFUSED),
    ReplyRow((550,), "not there; 532 where the text tells of a missing right", NotThere, "Not there"),
    ReplyRow((552,), "more than it takes", TooLarge, "Too large for the far server"),
    ReplyRow((553,), "a name that it does not take", NameNotAllowed, "That name is not allowed there"),
    ReplyRow((), "refused", NotPossible, _CANNOT, hundreds=5),
    ReplyRow((), "a reply out of place", WrongDocument, "The far server does not speak FTP", hundreds=3),
    ReplyRow((), "a reply out of place", WrongDocument, "The far server does not speak FTP", hundreds=1),
)
"""Every reply has exactly one row."""

_BY_REPLY: Final = {reply: row for row in REPLY_TABLE for reply in row.replies}
_BY_DIGIT: Final = {row.hundreds: row for row in REPLY_TABLE if row.hundreds}

_NO_RIGHT: Final = re.compile(
    r"permission|denied|not allowed|not permitted|forbidden|read-?only|privilege", re.IGNORECASE
)
_NO_FILE: Final = re.compile(r"no such|not found|n.t exist|not exist", re.IGNORECASE)


def reply_row(reply: int) -> ReplyRow:
    """The row that holds for a reply code."""
    return _BY_REPLY.get(reply) or _BY_DIGIT.get(reply // 100) or _BY_DIGIT[3]


def tells_of_no_right(text: str) -> bool:
    """Whether a refusal's text speaks of a missing right. Common practice, no standard."""
    return _NO_RIGHT.search(text) is not None and _NO_FILE.search(text) is None


def reply_fault(reply: int, text: str = "", *, placing: bool = False) -> HeadraceError | None:
    """The error to raise for a final reply, or None where it went on or well.

    `placing`: the command was to put something in a folder that is there.
    """
    row = reply_row(reply)
    if row.fault is None:
        return None
    if reply in {550, 553} and tells_of_no_right(text):
        return NotAllowed(_REFUSED)
    if reply == 550 and placing:
        return NotAllowed(_REFUSED)
    return row.fault(row.sentence)


@dataclass(frozen=True, slots=True)
class FtpOutcomeRow:
    """One line of the table of what is no reply: as `ReplyRow`, told by what happened."""

    outcome: str
    fault: type[HeadraceError]
    changing: type[HeadraceError] | None = None

    @property
    def code(self) -> int:
        """The reply code for a call that only asks."""
        return self.fault.code

    @property
    def changing_code(self) -> int:
        """The reply code for a call that changes something."""
        return self.code if self.changing is None else self.changing.code


FTP_OUTCOME_TABLE: Final = (
    FtpOutcomeRow(
        "no reply, or no FTP reply, to RNTO, DELE, RMD or MKD, and looking told nothing", BrokenOff, MayBeDone
    ),
    FtpOutcomeRow("connection lost, or 226 missing, in any other phase", BrokenOff),
    FtpOutcomeRow("fewer bytes than SIZE or MLST said", BrokenOff),
    FtpOutcomeRow("TLS data that ends without its farewell, and no size to compare with", BrokenOff),
    FtpOutcomeRow("another size, or another digest, arrived than was sent", BrokenOff),
    FtpOutcomeRow("ftps, and no TLS to be had", CannotConnect),
)
"""The outcomes that are not replies."""
