"""a wish, and what its client may do -> nothing, or a refusal: LoginFirst, NotAllowed.

Every wish passes here before anybody grants it, so that no request can be forgotten.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TypeVar

from adapters.errors import HeadraceError, LoginFirst, NotAllowed
from gateway.catalogue.access import EVERYTHING, NOTHING, Rights, listed
from gateway.catalogue.calling.addresses import split_url
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import Catalogue, Place, Source
from gateway.session.visitors import Visitor
from gateway.session.wishes import (
    Act,
    ActWish,
    CallerWish,
    CallWish,
    CounterWish,
    HearWish,
    ListWish,
    PickWish,
    ReadWish,
    SourceWish,
    StageWish,
    TextWish,
)

W = TypeVar("W")
G = TypeVar("G")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Access:
    """What a client may do. `stranger`: it has not logged in, and could."""

    rights: Rights = EVERYTHING
    stranger: bool = False

    def check(self, wish: object) -> None:
        """Nothing, or the refusal. What is no wish, or goes on with what was allowed, passes."""
        if self.rights is EVERYTHING:  # as nearly always; it is asked for each request
            return
        match wish:
            case SourceWish(source):
                self.check_source(source)
            case PickWish(ref) | ListWish(ref) | ReadWish(ref) | TextWish(ref) | CounterWish(ref):
                self.check_ref(ref)
            case StageWish(ref):
                self.check_change(ref)
            case ActWish(act, ref, to, _):
                (self.check_ref if act is Act.COPY else self.check_change)(ref)
                if to is not None:
                    self.check_change(to)
            case CallWish(ref):
                self._check_call(ref)
            case HearWish(port) | CallerWish(port):
                self._check(listed(str(port), self.rights.streams), f"hear at {port}")

    def check_source(self, source: Source) -> None:
        """It may be asked, or told."""
        name = source.name
        self._check(self.may_ask(source), f"{'TELL' if source.changes else 'ASK'} {name}")

    def may_ask(self, source: Source) -> bool:
        """Whether a source may be asked; of one that changes something, told."""
        name, rights = source.name, self.rights
        return listed(name, rights.sources) and (not source.changes or listed(name, rights.write))

    def may_see(self, place: Place) -> bool:
        """Whether a place may be read, or talked to."""
        return listed(place.name, self.rights.streams if place.is_stream else self.rights.places)

    def check_ref(self, ref: Ref) -> None:
        """It may be read."""
        if ref.place is None:
            self._check_url(ref)
        else:
            self._check(listed(ref.place.name, self.rights.places), f"read {ref.place.name}")

    def check_change(self, ref: Ref) -> None:
        """It may be changed."""
        self.check_ref(ref)
        if ref.place is not None:
            self._check(listed(ref.place.name, self.rights.write), f"change {ref.place.name}")

    def _check_call(self, ref: Ref) -> None:
        if ref.place is None:
            self._check(bool(self.rights.streams), "talk to that")
            self._check_url(ref)
        else:
            self._check(listed(ref.place.name, self.rights.streams), f"talk to {ref.place.name}")

    def _check_url(self, ref: Ref) -> None:
        self._check(listed(split_url(ref.url).host, self.rights.urls), "type that URL")

    def _check(self, allowed: bool, what: str) -> None:
        if not allowed:
            raise LoginFirst(f"LOGIN first to {what}") if self.stranger else NotAllowed(f"You may not {what}")


def access_of(catalogue: Catalogue, visitor: Visitor, member: str = "") -> Access:
    """What whoever is at the line may do. A `member` who is none any more is a visitor again."""
    found = catalogue.members.get(member)
    name = visitor.rights() if found is None else found.rights
    rights = catalogue.rights.get(name, NOTHING) if name else EVERYTHING
    return Access(rights, stranger=found is None and bool(catalogue.members))


def guarded(check: Callable[[object], None], steps: Generator[W, G, T]) -> Generator[W, G, T]:
    """The same steps; what `check` refuses is refused before anybody is told of it."""
    try:
        wish = next(steps)
        while True:
            try:
                check(wish)
                granted = yield wish
            except HeadraceError as error:
                wish = steps.throw(error)
            else:
                wish = steps.send(granted)
    except StopIteration as stop:
        found: T = stop.value
        return found
    finally:
        steps.close()
