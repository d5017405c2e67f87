"""How much work one answer may take: counted by all that picks its values, whatever path they are picked by.

`with_effort` sets it for what is called from there; without it each path has its own. A path has limits of
its own besides, but a document may be made so that each of many rows is as much work as a whole document.
"""

from collections.abc import Callable
from contextvars import ContextVar
from typing import Final, TypeVar

from adapters import limits
from adapters.errors import TooMuchWork

T = TypeVar("T")


class Effort:
    """What is left of it: `visits` nodes of JSON that paths may look at, and `steps` of XPaths.

    `brief`: a few milliseconds at most, since others wait for it.
    """

    __slots__ = ("brief", "steps", "visits")

    def __init__(self, *, brief: bool = False) -> None:
        self.visits = limits.BRIEF_VISITS if brief else limits.ANSWER_VISITS
        self.steps = limits.BRIEF_STEPS if brief else limits.MARKUP_STEPS
        self.brief = brief

    def look(self, count: int) -> None:
        """Count nodes looked at. TooMuchWork."""
        self.visits -= count
        if self.visits < 0:
            raise TooMuchWork


_effort: Final[ContextVar[Effort | None]] = ContextVar("effort", default=None)


def current() -> Effort:
    """The effort that counts now."""
    return _effort.get() or Effort()


def with_effort(effort: Effort, work: Callable[[], T]) -> T:
    """What `work` gives within that effort; TooMuchWork."""
    before = _effort.set(effort)
    try:
        return work()
    finally:
        _effort.reset(before)
