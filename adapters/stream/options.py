"""A WILL, WONT, DO or DONT, or a wish of ours -> the answer to send: telnet options without loops (RFC 1143).

The Q method: for every option and each of its two sides it is remembered what was agreed and what was asked
for, so that an answer is never taken for a request. Nothing here knows what an option does.
"""

from collections.abc import Iterable, Mapping
from enum import Enum
from types import MappingProxyType
from typing import Final


class Side(Enum):
    """Whose behaviour it is: about ours the far end says DO and DONT, about its own WILL and WONT."""

    OURS = "ours"
    FAR = "far"


class State(Enum):
    """RFC 1143 section 7: what was agreed, or asked for and not yet answered; OPPOSITE: and then not."""

    NO = "no"
    YES = "yes"
    WANT_NO = "want no"
    WANT_NO_OPPOSITE = "want no, then yes"
    WANT_YES = "want yes"
    WANT_YES_OPPOSITE = "want yes, then no"


_Step = tuple[State, bool | None]
"""The state afterwards, and what to say: yes, no, or nothing."""

_NO, _YES, _WANT_NO, _WANT_NO_OPPOSITE, _WANT_YES, _WANT_YES_OPPOSITE = State

_HEARD: Final[Mapping[tuple[State, bool], _Step]] = MappingProxyType(
    {
        # NO and yes is a request: see Options.hear.
        (_YES, True): (_YES, None),
        (_WANT_NO, True): (_NO, None),  # its error: a refusal answered by an offer
        (_WANT_NO_OPPOSITE, True): (_YES, None),  # the same error
        (_WANT_YES, True): (_YES, None),
        (_WANT_YES_OPPOSITE, True): (_WANT_NO, False),
        (_NO, False): (_NO, None),
        (_YES, False): (_NO, False),
        (_WANT_NO, False): (_NO, None),
        (_WANT_NO_OPPOSITE, False): (_WANT_YES, True),
        (_WANT_YES, False): (_NO, None),
        (_WANT_YES_OPPOSITE, False): (_NO, None),
    }
)
"""State and what the far end said -> the next."""

_WISHED: Final[Mapping[tuple[State, bool], _Step]] = MappingProxyType(
    {
        (_NO, True): (_WANT_YES, True),
        (_WANT_NO, True): (_WANT_NO_OPPOSITE, None),
        (_WANT_YES_OPPOSITE, True): (_WANT_YES, None),
        (_YES, False): (_WANT_NO, False),
        (_WANT_YES, False): (_WANT_YES_OPPOSITE, None),
        (_WANT_NO_OPPOSITE, False): (_WANT_NO, None),
    }
)
"""State and what is wanted here now -> the next; where nothing stands, it is so or is asked for already."""


class Options:
    """All options of one connection. What is in `agreed` is allowed when the far end asks for it."""

    def __init__(self, agreed: Iterable[tuple[Side, int]] = ()) -> None:
        self._agreed = frozenset(agreed)
        self._states: dict[tuple[Side, int], State] = {}

    def state(self, side: Side, option: int) -> State:
        """Where it stands; NO at the beginning (RFC 854)."""
        return self._states.get((side, option), State.NO)

    def on(self, side: Side, option: int) -> bool:
        """Whether it holds now: agreed on, or about to be ended by us but not yet acknowledged."""
        return self.state(side, option) in {State.YES, State.WANT_NO, State.WANT_NO_OPPOSITE}

    def hear(self, side: Side, option: int, *, yes: bool) -> bool | None:
        """The far end said WILL or DO (`yes`), WONT or DONT. What to answer: yes, no, or None for nothing."""
        state = self.state(side, option)
        if state is State.NO and yes:
            willing = (side, option) in self._agreed
            return self._go(side, option, (State.YES if willing else State.NO, willing))
        return self._go(side, option, _HEARD[state, yes])

    def wish(self, side: Side, option: int, *, yes: bool) -> bool | None:
        """It is wanted here, or no longer. What to say: yes, no, or None for nothing."""
        state = self.state(side, option)
        return self._go(side, option, _WISHED.get((state, yes), (state, None)))

    def _go(self, side: Side, option: int, step: _Step) -> bool | None:
        state, answer = step
        if state is State.NO:
            self._states.pop((side, option), None)  # what is remembered is bounded by what is agreed to
        else:
            self._states[side, option] = state
        return answer
