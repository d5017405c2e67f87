"""What the HTTP, TLS and socket libraries raise -> the house's errors: the one table, which README.md prints.

No library's error leaves the adapter, and no text of one reaches a sentence: they quote URLs and fields.
"""

from dataclasses import dataclass
from typing import Final

import httpcore

from adapters.errors import (
    BrokenOff,
    CannotConnect,
    HeadraceError,
    MayBeDone,
    NotAllowed,
    TooLarge,
    TooSlow,
    Untrusted,
    WrongDocument,
    WrongWords,
)
from adapters.http.link.exchange import Exchange


@dataclass(frozen=True, slots=True)
class OutcomeRow:
    """One line of the table: what happened, and the error for a call that asks and for one that changes.

    `fault` is None where a call that only asks never meets it; `changing` is None where both are the same.
    """

    outcome: str
    fault: type[HeadraceError] | None
    changing: type[HeadraceError] | None = None

    @property
    def code(self) -> int | None:
        """The reply code for a call that only asks."""
        return None if self.fault is None else self.fault.code

    @property
    def changing_code(self) -> int | None:
        """The reply code for a call that changes something."""
        return self.code if self.changing is None else self.changing.code


OUTCOME_TABLE: Final = (
    OutcomeRow("no such host, no route, connection refused", CannotConnect),
    OutcomeRow("an address that is not allowed", NotAllowed),
    OutcomeRow("certificate expired, for another host, or of an unknown authority", Untrusted),
    OutcomeRow("no TLS, or none newer than 1.1", CannotConnect),
    OutcomeRow("time is up before the request was sent", TooSlow),
    OutcomeRow("time is up afterwards", TooSlow, MayBeDone),
    OutcomeRow("connection reset or closed before the whole answer is here", BrokenOff, MayBeDone),
    OutcomeRow("body shorter than announced, broken chunks, gzip cut short", BrokenOff, MayBeDone),
    OutcomeRow("no HTTP answer", WrongDocument, MayBeDone),
    OutcomeRow("content coding that was not asked for", WrongDocument, MayBeDone),
    OutcomeRow("header section, body or expanded body over its limit", TooLarge, MayBeDone),
    OutcomeRow("redirects in a circle, too many, or to nowhere", WrongDocument),
    OutcomeRow("redirect from https to http, or to another scheme", NotAllowed),
    OutcomeRow("redirect of a body to another origin", NotAllowed),
    OutcomeRow("301 or 302 for a change; for a file whose name stays: followed", None, MayBeDone),
    OutcomeRow("anything that fails after 303 for a change", None, MayBeDone),
)
"""The outcomes that are not statuses. A test makes each of them happen."""


def translated(error: Exception, exchange: Exchange) -> HeadraceError:
    """The house's error for a library's, in the light of what happened in the exchange before it."""
    if isinstance(error, HeadraceError):
        return error
    if isinstance(error, httpcore.LocalProtocolError):
        return WrongWords("Not a request that HTTP can carry")
    if isinstance(error, httpcore.RemoteProtocolError):
        if _header_section_too_long(error):
            return TooLarge("The far server's answer is too large")
        if not exchange.answered and not exchange.ended:
            return WrongDocument("The far server does not speak HTTP")
        return BrokenOff()
    if isinstance(error, httpcore.TimeoutException):
        return TooSlow()
    if isinstance(error, httpcore.ConnectError):
        return CannotConnect()
    if isinstance(error, httpcore.NetworkError | OSError):
        return BrokenOff()
    return HeadraceError()


def _header_section_too_long(error: BaseException) -> bool:
    """Whether h11 gave up on it: its error, somewhere behind httpcore's, hints at status 431."""
    seen: BaseException | None = error
    while seen is not None:
        if getattr(seen, "error_status_hint", None) == 431:
            return True
        seen = seen.__cause__ or seen.__context__
    return False
