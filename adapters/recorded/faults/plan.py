"""A fault plan's TOML text -> which requests go wrong, when, and how.

    [[fault]]
    request = "ASK TIDES *"         # what the client asked; `*`, `?` and `[...]` as in file names
    url = "http://tides.example/*"  # where that goes; one of the two, or both
    method = "GET"                  # as it is recorded: GET, POST ...; LIST, READ, WRITE ...
    after = 1                       # so many go well first (0)
    times = 2                       # so many go wrong then (for ever)
    do = "cut"                      # what happens, see `Damage`
    bytes = 100                     # of a body that still come (0), for cut and garbled
    seconds = 30                    # for slow; and what a 429 or 503 says to wait
    status = 500                    # instead of `do`: the far server answers with this

The first fault that a request fits decides about it; those that it is not due for yet let others have it.
"""

import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from fnmatch import fnmatchcase
from typing import Final

from adapters import limits
from adapters.recorded.asking import REQUEST
from adapters.recorded.tree.table import Table, TextFault, toml_values

_log = logging.getLogger(__name__)

_LAST_STATUS: Final = 599
_FIRST_STATUS: Final = 400


class Damage(Enum):
    """What happens to a request.

    SLOW: the answer begins `seconds` later. CUT: the connection breaks off in the answer's body, after
    `bytes` of it. GARBLED: the body's bytes after `bytes` come as question marks. MALFORMED: what comes is
    not of the protocol. RESET: the connection is reset before anything comes. REFUSED: nobody listens.
    EXPIRED: the certificate is not good any more; only where there is one (https, ftps, davs). STATUS: the
    far server answers with `status`, of HTTP or FTP.
    """

    SLOW = "slow"
    CUT = "cut"
    GARBLED = "garbled"
    MALFORMED = "malformed"
    RESET = "reset"
    REFUSED = "refused"
    EXPIRED = "certificate-expired"
    STATUS = "status"


_WORDS: Final = tuple(each.value for each in Damage if each is not Damage.STATUS)
_WITH_CERTIFICATES: Final = ("https:", "ftps:", "davs:")
_WITHOUT_ANSWERS: Final = "file:"


@dataclass(frozen=True, slots=True)
class Fault:
    """What is to happen now. `seconds` is None where none were named."""

    damage: Damage
    seconds: float | None = None
    size: int = 0
    status: int = 0


@dataclass(slots=True)
class _Line:
    """One table of the plan, and how often it was fitted."""

    fault: Fault
    url: str
    request: str
    method: str
    after: int
    times: int | None
    fitted: int = 0

    def fits(self, method: str, url: str) -> bool:
        asked = REQUEST.get()
        return (
            (not self.url or fnmatchcase(url, self.url))
            and (not self.request or fnmatchcase(asked.upper(), self.request.upper()))
            and self.method in ("", method)
            and (self.fault.damage is not Damage.EXPIRED or url.startswith(_WITH_CERTIFICATES))
            and (self.fault.damage is not Damage.STATUS or not url.startswith(_WITHOUT_ANSWERS))
        )

    def due(self) -> bool:
        """Count one more; whether it goes wrong."""
        self.fitted += 1
        return self.after < self.fitted and (self.times is None or self.fitted <= self.after + self.times)


class FaultPlan:
    """A plan in one gateway's run, which counts. Belongs to the event loop's thread."""

    def __init__(self, lines: Sequence[_Line]) -> None:
        self._lines = lines

    def __len__(self) -> int:
        """How many faults there are."""
        return len(self._lines)

    def due(self, method: str, url: str) -> Fault | None:
        """What happens to a request, None for nothing; the log is told."""
        for line in self._lines:
            if line.fits(method, url) and line.due():
                told = {"method": method, "url": url.partition("?")[0]}
                _log.warning("fault on cue: %s", line.fault.damage.value, extra=told)
                return line.fault
        return None


def read_plan(text: str) -> FaultPlan:
    """The plan that `text` holds. TextFault with all that is wrong in it."""
    mistakes: list[str] = []
    top = Table(toml_values(text), "", mistakes)
    lines = [_line(table) for table in top.tables("fault")]
    if not lines and not mistakes:
        top.wrong("fault", "missing: a plan has at least one [[fault]]")
    top.over()
    if mistakes:
        raise TextFault(mistakes)
    return FaultPlan(lines)


def _line(table: Table) -> _Line:
    line = _Line(
        _fault(table),
        table.text("url"),
        table.text("request"),
        table.text("method").upper(),
        table.number("after") or 0,
        table.number("times", 1),
    )
    begun = re.split(r"[*?[]", line.request.upper(), maxsplit=1)[0]
    if not any(word.startswith(begun) or begun.startswith(word) for word in ("ASK ", "TELL ")):
        table.wrong("request", "only ASK and TELL have one: take a url for others")
    if not line.url and not line.request:
        table.wrong("url", "missing: a fault has a url or a request")
    table.over()
    return line


def _fault(table: Table) -> Fault:
    status, word = table.number("status", _FIRST_STATUS, _LAST_STATUS), table.text("do")
    if (status is None) == (not word) and not (table.has("status") and status is None):
        table.wrong("do", "one of do and status is needed")
    if word and word not in _WORDS:
        table.wrong("do", f"none of {', '.join(_WORDS)}")
        word = ""
    damage = Damage(word) if word else Damage.STATUS
    seconds = table.seconds("seconds") if table.has("seconds") else None
    if seconds is not None and not 0 <= seconds <= limits.FAULT_SECONDS:
        table.wrong("seconds", f"not 0 to {limits.FAULT_SECONDS}")
    if damage is Damage.SLOW and seconds is None:
        table.wrong("seconds", "missing: how slow")
    if seconds is not None and damage not in (Damage.SLOW, Damage.STATUS):
        table.wrong("seconds", "only slow, and a status, take seconds")
    size = table.number("bytes")
    if size is not None and damage not in (Damage.CUT, Damage.GARBLED):
        table.wrong("bytes", "only cut and garbled take bytes")
    return Fault(damage, seconds, size or 0, status or 0)
