"""What the service tells those who record: the client's request, and that time was up."""

from contextvars import ContextVar
from typing import Final

REQUEST: Final[ContextVar[str]] = ContextVar("headrace_request", default="")
"""Such as "ASK TIDES MOLE"; a fetch that several share has the first one's."""

LATE: Final = "time is up"
"""What a fetch is cancelled with by whoever set its time: that no answer came in it is kept, while what was
only given up is not.
"""


def is_late(cancelled: BaseException) -> bool:
    """Whether this CancelledError came because time was up."""
    return LATE in cancelled.args
