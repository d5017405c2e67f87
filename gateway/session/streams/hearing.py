"""HEAR port [lines|who|refuse] -> one call in: 150, then 200 when somebody calls (CONTRACT section 3)."""

from collections.abc import Sequence
from typing import Final

from adapters.errors import NotThere, WrongMoment, WrongWords
from gateway.catalogue.model import ReservedPort
from gateway.session.state import State
from gateway.session.steps import Steps, granted
from gateway.session.streams.talking import OpenTalk
from gateway.session.wishes import Called, CallerWish, FarHearing, Hearing, HearWish, Waiting
from gateway.wire.replies import Reply

_WANTED: Final = "HEAR port [lines|who|refuse]"
_ACTS: Final = frozenset({"lines", "who", "refuse"})
_MOST_DIGITS: Final = 5


def hear(state: State, words: Sequence[str]) -> Steps:
    """HEAR port: 150, and the wait has begun; with lines, the call is talked on as with TALK ref lines.

    HEAR port who: the address of who waits to be answered, or no
    record; HEAR port refuse: the same, and who waits is turned away.
    """
    reserved = _reserved(state, words)
    act = words[1].lower() if len(words) == 2 else ""
    by_lines = act == "lines"
    if act and not by_lines:
        waiting = yield from granted(CallerWish(reserved.port, refuse=act == "refuse"), Waiting)
        return _address(state, waiting.address)
    if reserved.raw and not by_lines and state.settings.flow == "xon":
        raise WrongMoment("flow=xon takes no raw bytes")
    hearing = yield from granted(HearWish(reserved.port), Hearing)
    state.hearing = OpenHearing(state, hearing.hearing, reserved, by_lines)
    return Reply(150, state.settings)


def _reserved(state: State, words: Sequence[str]) -> ReservedPort:
    acts = len(words) == 2 and words[1].lower() in _ACTS
    if not words or (len(words) > 1 and not acts):
        raise WrongWords(f"Wanted: {_WANTED}")
    word = words[0]
    if not (word.isascii() and word.isdigit()) or len(word) > _MOST_DIGITS:
        raise WrongWords(f"Wanted: {_WANTED}")
    reserved = state.world.catalogue().reserved.get(int(word))
    if reserved is None:
        there = " ".join(map(str, sorted(state.world.catalogue().reserved)))
        raise NotThere(f"Not reserved; {there} can be heard" if there else "No port is reserved for calls in")
    return reserved


def _address(state: State, address: str | None) -> Reply:
    if address is None:
        return Reply(200, state.settings)
    room = state.room
    return state.plain([address[:room].ljust(room)], room, "C" if len(address) > room else ".")


class OpenHearing:
    """A wait for a call. `far` tells what has come of it."""

    def __init__(self, state: State, far: FarHearing, reserved: ReservedPort, by_lines: bool) -> None:
        self.far = far
        self.request = state.request_shown
        self._state = state
        self._reserved = reserved
        self._by_lines = by_lines

    def answered(self, called: Called) -> Reply:
        """Somebody calls: the stream is open."""
        self.end()
        self._state.talk = OpenTalk(self._state, called, self._reserved, self._by_lines)
        self._state.account(called.provenance)
        return _address(self._state, called.address)

    def end(self) -> None:
        """The wait is over."""
        self._state.hearing = None
        self.far.drop()
