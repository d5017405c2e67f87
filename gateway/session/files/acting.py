"""COPY, ERASE, RENAME and MKDIR: what is done in one go -> 250, or 150 where it goes on."""

from collections.abc import Sequence

from adapters.errors import NotPossible, WrongWords
from gateway.catalogue.calling.targets import Ref
from gateway.session.files.listed_names import Use
from gateway.session.files.refs import not_a_root, typed_ref, wanted, writable
from gateway.session.state import State
from gateway.session.steps import Steps, granted
from gateway.session.wishes import Act, ActWish, Done
from gateway.wire.replies import Reply


def copy(state: State, words: Sequence[str]) -> Steps:
    """COPY ref ref: to a folder by its form, the source keeps its name."""
    source, to = _two(state, words, "COPY ref ref", Use.READ, Use.PUT)
    if source.is_folder:
        raise NotPossible("Only documents can be copied")
    to = writable(to)
    if to.is_folder:
        to = to.below(source.segment)
    _apart(source, to)
    state.listed_names.created(to)
    return (yield from _act(state, ActWish(Act.COPY, source, to, state.teller())))


def rename(state: State, words: Sequence[str]) -> Steps:
    """RENAME ref ref: both may be changed."""
    source, to = _two(state, words, "RENAME ref ref", Use.CHANGE, Use.NAME)
    not_a_root(writable(source))
    not_a_root(writable(to))
    _apart(source, to)
    state.listed_names.created(to)
    return (yield from _act(state, ActWish(Act.RENAME, source, to, state.teller())))


def erase(state: State, words: Sequence[str]) -> Steps:
    """ERASE ref."""
    ref = not_a_root(writable(_one(state, words, "ERASE ref", Use.CHANGE)))
    return (yield from _act(state, ActWish(Act.ERASE, ref)))


def make_folder(state: State, words: Sequence[str]) -> Steps:
    """MKDIR ref."""
    ref = not_a_root(writable(_one(state, words, "MKDIR ref", Use.NAME)))
    state.listed_names.created(ref)
    return (yield from _act(state, ActWish(Act.MAKE_FOLDER, ref)))


def done(state: State, outcome: Done) -> Reply:
    """250, or 150 with a sentence where it goes on without the client."""
    state.account(outcome)
    if outcome.code == 250:
        return Reply(250, state.settings)
    state.goes_on(outcome)
    text = "Begun; WHY tells how far it is"
    return Reply(outcome.code, state.settings, (text[: state.room].ljust(state.room),), state.room)


def _act(state: State, wish: ActWish) -> Steps:
    return done(state, (yield from granted(wish, Done)))


def _one(state: State, words: Sequence[str], usage: str, use: Use) -> Ref:
    if len(words) != 1:
        raise wanted(usage, len(words) > 1)
    return typed_ref(state, words[0], use)


def _two(state: State, words: Sequence[str], usage: str, use: Use, to: Use) -> tuple[Ref, Ref]:
    if len(words) != 2:
        raise wanted(usage, len(words) > 2)
    return typed_ref(state, words[0], use), typed_ref(state, words[1], to)


def _apart(source: Ref, to: Ref) -> None:
    if source.url.rstrip("/") == to.url.rstrip("/"):
        raise WrongWords("Both refs are the same")
