"""A ref as the client typed it -> Ref: `#n`, a place, a URL, or relative to BASE (CONTRACT section 3)."""

import re
from typing import Final

from adapters.errors import HeadraceError, NotAllowed, NotPossible, NotThere, WrongMoment, WrongWords
from gateway.catalogue.calling.targets import Ref, is_relative, read_ref
from gateway.session.files.listed_names import Use
from gateway.session.files.numbering import Numbered
from gateway.session.state import State

_NUMBER: Final = re.compile(r"#([0-9]+)", re.ASCII)
_DIGITS: Final = 9  # no listing is longer


def is_number(word: str) -> bool:
    """Whether it is the number of an entry or link, not a relative ref that is only a fragment."""
    return _NUMBER.fullmatch(word) is not None


def numbered_name(state: State, word: str) -> str:
    """The whole ref that the number `word` stands for, to be shown; it may be one that may not be used."""
    numbered, number = _numbered(state, word)
    return numbered.whole(state.world.catalogue(), number)


def _numbered(state: State, word: str) -> tuple[Numbered, int]:
    if state.numbered is None:
        raise WrongMoment("No LIST or TEXT came before")
    digits = word[1:].lstrip("0")
    if len(digits) > _DIGITS:
        raise NotThere("There are not so many")
    return state.numbered, int(digits or "0")


def typed_ref(state: State, word: str, use: Use = Use.READ) -> Ref:
    """What `word` names, looked for in the contract's order. WrongMoment: a number without a LIST or TEXT."""
    loose, state.loose = state.loose, False
    if is_number(word):
        numbered, number = _numbered(state, word)
        ref = numbered.ref(state.world.catalogue(), number)
    else:
        text = state.typed(word)
        ref = read_ref(state.world.catalogue(), text, state.base)
        if "#" in text and use is not Use.READ and ref.url.startswith(("http:", "https:")):
            raise WrongWords("Write # in a name as %23")  # or what is before it would be changed instead
        ref = state.listed_names.long(ref, use, short=state.settings.names == "8.3")
        base = state.base
        loose = loose or (base is not None and not base.is_folder and is_relative(text))
    state.loose = loose
    return ref


def wanted(usage: str, too_many: bool) -> WrongWords:
    """What should have been typed. `too_many` words: most often a ref with blanks was not quoted."""
    return WrongWords(f'Wanted: {usage}; blanks: "..."' if too_many else f"Wanted: {usage}")


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


def without_slash(error: HeadraceError) -> NotThere:
    """What is said where a ref led nowhere from a BASE that lacks its slash (RFC 3986 section 5.2.3)."""
    told = NotThere("Not there; BASE ends without a /")
    told.far, told.steps, told.notes = error.far, error.steps, error.notes
    return told
