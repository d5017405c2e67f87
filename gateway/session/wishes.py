"""What a session wants of the world, and what it gets: Wish -> Outcome, or a HeadraceError thrown in."""

from dataclasses import dataclass
from typing import TypeAlias

from adapters.errors import HeadraceError, MayBeDone, TooSlow
from gateway.catalogue.model import Source
from gateway.extract.plan import Plan, Sheet, Style


@dataclass(frozen=True, slots=True)
class SourceWish:
    """A source's records: `args` as typed; `lines` is the text of a source whose body is `lines`."""

    source: Source
    args: tuple[str, ...]
    style: Style
    lines: str | None = None


@dataclass(frozen=True, slots=True)
class PickWish:
    """An ad-hoc plan over the document at `ref`."""

    ref: str
    plan: Plan
    style: Style


def time_is_up(wish: "Wish") -> HeadraceError:
    """What a wish that took too long ends in: one that changes something may have been granted."""
    return MayBeDone() if isinstance(wish, SourceWish) and wish.source.changes else TooSlow()


Wish: TypeAlias = SourceWish | PickWish


@dataclass(frozen=True, slots=True)
class Outcome:
    """Records and where they came from.

    `origin` is scheme://host:port; `how` says in words whether it was fetched or kept; `age` is in
    seconds; `steps` are pairs of a label and the seconds that part took.
    """

    sheet: Sheet
    origin: str
    how: str
    age: float
    stale: bool
    steps: tuple[tuple[str, float], ...]
