"""A ref as the client typed it -> Ref: `#n`, a place, a URL, or relative to BASE (CONTRACT section 3)."""

import re
from typing import Final

from adapters.errors import NotAllowed, NotPossible, NotThere, WrongMoment
from gateway.catalogue.targets import Ref, read_ref
from gateway.session.state import State

_NUMBER: Final = re.compile(r"#([0-9]+)", re.ASCII)
_DIGITS: Final = 9  # no listing is longer


def is_number(word: str) -> bool:
    """Whether it is the number of an entry or link, not a relative ref that is only a fragment."""
    return _NUMBER.fullmatch(word) is not None


def typed_ref(state: State, word: str) -> Ref:
    """What `word` names, looked for in the contract's order. WrongMoment: a number without a LIST or TEXT."""
    catalogue = state.world.catalogue()
    number = _NUMBER.fullmatch(word)
    if number is not None:
        if state.numbered is None:
            raise WrongMoment("No LIST or TEXT came before")
        if len(number[1].lstrip("0")) > _DIGITS:
            raise NotThere("There are not so many")
        return state.numbered.ref(catalogue, int(number[1]))
    ref = read_ref(catalogue, state.typed(word), state.base)
    return state.short_names.long(ref) if state.settings.names == "8.3" else ref


def writable(ref: Ref) -> Ref:
    """The same ref; NotAllowed unless the catalogue lets clients change things there."""
    if ref.place is None:
        raise NotAllowed("Only a place can be changed")
    if not ref.place.write:
        raise NotAllowed(f"{ref.place.name} is for reading only")
    return ref


def not_a_root(ref: Ref) -> Ref:
    """The same ref; NotPossible for a place itself."""
    if ref.is_root:
        raise NotPossible("That is the place itself")
    return ref
