"""The client's request that an exchange is made for: set by the service, noted in the recording."""

from contextvars import ContextVar
from typing import Final

REQUEST: Final[ContextVar[str]] = ContextVar("headrace_request", default="")
"""Such as "ASK TIDES MOLE"; a fetch that several share has the first one's."""
