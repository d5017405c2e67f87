"""What happened so far in the exchange that the current task makes: the facts that decide an error's code."""

from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from adapters.http.link.streams import Stream


@dataclass(slots=True)
class Exchange:
    """One fetch. `dialled`: a connection was opened for the present request, so it is no old one.

    `answered`: the header section of its answer is here. `ended`: the far server closed the connection.
    `sent`: bytes of a request that nothing has answered as not done are on their way, so that the far
    server may have acted. `acted`: it said that it did (303), whatever happens afterwards. `origin` is where
    the present request goes, `status` what was answered last, `stream` what it was written to. `late` is
    called where time was up, by whoever set how much there was.
    """

    dialled: bool = False
    answered: bool = False
    ended: bool = False
    sent: bool = False
    acted: bool = False
    origin: str = ""
    status: int = 0
    stream: "Stream | None" = field(default=None, compare=False, repr=False)
    late: Callable[[], None] | None = field(default=None, compare=False, repr=False)

    def begin_request(self) -> None:
        """Forget what concerned the request before."""
        self.dialled = self.answered = self.ended = False
        self.stream = None

    def time_is_up(self) -> None:
        """Tell who waits for it."""
        if self.late is not None:
            self.late()

    @property
    def far(self) -> str:
        """What can be said of the far server."""
        return f"{self.origin}, HTTP {self.status}" if self.status else self.origin

    @property
    def doubtful(self) -> bool:
        """Whether a change may have been made."""
        return self.sent or self.acted


CURRENT: Final[ContextVar[Exchange | None]] = ContextVar("headrace_exchange", default=None)
"""Set by the adapter, marked by streams and dialling, which httpcore calls in the same task."""
