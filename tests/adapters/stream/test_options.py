"""RFC 1143: the table of section 7, and what it is for: two ends always come to rest, and agree."""

from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.stream.options import Options, Side, State

ECHO = 1


def in_state(state: State, *, willing: bool = True) -> Options:
    """By the shortest way there."""
    options = Options({(Side.FAR, ECHO)} if willing else ())
    for wish in {
        State.NO: (),
        State.YES: (True, None),
        State.WANT_YES: (True,),
        State.WANT_YES_OPPOSITE: (True, False),
        State.WANT_NO: (True, None, False),
        State.WANT_NO_OPPOSITE: (True, None, False, True),
    }[state]:
        if wish is None:
            options.hear(Side.FAR, ECHO, yes=True)
        else:
            options.wish(Side.FAR, ECHO, yes=wish)
    assert options.state(Side.FAR, ECHO) is state
    return options


@pytest.mark.parametrize(
    ("before", "yes", "answer", "after"),
    [
        # "Upon receipt of WILL": section 7. False is DONT, True is DO.
        (State.NO, True, True, State.YES),
        (State.YES, True, None, State.YES),
        (State.WANT_NO, True, None, State.NO),
        (State.WANT_NO_OPPOSITE, True, None, State.YES),
        (State.WANT_YES, True, None, State.YES),
        (State.WANT_YES_OPPOSITE, True, False, State.WANT_NO),
        # "Upon receipt of WONT"
        (State.NO, False, None, State.NO),
        (State.YES, False, False, State.NO),
        (State.WANT_NO, False, None, State.NO),
        (State.WANT_NO_OPPOSITE, False, True, State.WANT_YES),
        (State.WANT_YES, False, None, State.NO),
        (State.WANT_YES_OPPOSITE, False, None, State.NO),
    ],
)
def test_what_is_heard(before: State, yes: bool, answer: bool | None, after: State) -> None:
    options = in_state(before)
    assert options.hear(Side.FAR, ECHO, yes=yes) is answer
    assert options.state(Side.FAR, ECHO) is after


def test_what_is_not_agreed_to_is_refused_each_time() -> None:
    options = in_state(State.NO, willing=False)
    for _ in range(3):
        assert options.hear(Side.FAR, ECHO, yes=True) is False
        assert options.state(Side.FAR, ECHO) is State.NO


@pytest.mark.parametrize(
    ("before", "yes", "said", "after"),
    [
        # "If we decide to ask him to enable", and to disable: section 7, with a queue.
        (State.NO, True, True, State.WANT_YES),
        (State.YES, True, None, State.YES),
        (State.WANT_NO, True, None, State.WANT_NO_OPPOSITE),
        (State.WANT_NO_OPPOSITE, True, None, State.WANT_NO_OPPOSITE),
        (State.WANT_YES, True, None, State.WANT_YES),
        (State.WANT_YES_OPPOSITE, True, None, State.WANT_YES),
        (State.NO, False, None, State.NO),
        (State.YES, False, False, State.WANT_NO),
        (State.WANT_NO, False, None, State.WANT_NO),
        (State.WANT_NO_OPPOSITE, False, None, State.WANT_NO),
        (State.WANT_YES, False, None, State.WANT_YES_OPPOSITE),
        (State.WANT_YES_OPPOSITE, False, None, State.WANT_YES_OPPOSITE),
    ],
)
def test_what_is_wished(before: State, yes: bool, said: bool | None, after: State) -> None:
    options = in_state(before)
    assert options.wish(Side.FAR, ECHO, yes=yes) is said
    assert options.state(Side.FAR, ECHO) is after


def test_an_option_holds_until_its_end_is_acknowledged() -> None:
    on = [state for state in State if in_state(state).on(Side.FAR, ECHO)]
    assert on == [State.YES, State.WANT_NO, State.WANT_NO_OPPOSITE]


Word = tuple[Side, int, bool]
OTHER = {Side.OURS: Side.FAR, Side.FAR: Side.OURS}
words = st.tuples(st.sampled_from(Side), st.integers(0, 2), st.booleans())
willing = st.frozensets(st.tuples(st.sampled_from(Side), st.integers(0, 2)))


class End:
    """One of two ends; what it says arrives in order, as late as one likes."""

    def __init__(self, agreed: frozenset[tuple[Side, int]]) -> None:
        self.options = Options(agreed)
        self.inbox: deque[Word] = deque()
        self.wished: dict[tuple[Side, int], bool] = {}

    def wish(self, word: Word, far: "End") -> int:
        side, option, yes = word
        self.wished[side, option] = yes
        return self.say(side, option, self.options.wish(side, option, yes=yes), far)

    def hear(self, far: "End") -> int:
        side, option, yes = self.inbox.popleft()
        return self.say(side, option, self.options.hear(side, option, yes=yes), far)

    def say(self, side: Side, option: int, yes: bool | None, far: "End") -> int:
        if yes is None:
            return 0
        far.inbox.append((OTHER[side], option, yes))
        return 1


@given(
    agreed=st.tuples(willing, willing),
    steps=st.lists(st.tuples(st.booleans(), st.none() | words), max_size=40),
    order=st.lists(st.booleans(), max_size=60),
)
def test_two_ends_always_come_to_rest(
    agreed: tuple[frozenset[tuple[Side, int]], frozenset[tuple[Side, int]]],
    steps: list[tuple[bool, Word | None]],
    order: list[bool],
) -> None:
    """Whatever they wish for, also in between, and however late each hears the other."""
    ends = End(agreed[0]), End(agreed[1])
    said = wishes = 0
    for which, word in steps:
        end, far = ends[which], ends[not which]
        if word is not None:
            wishes += 1
            said += end.wish(word, far)
        elif end.inbox:
            said += end.hear(far)
    turns = iter(order)
    while any(end.inbox for end in ends):
        which = next(turns, not ends[0].inbox)
        end = ends[which]
        if end.inbox:
            said += end.hear(ends[not which])
        assert said <= 4 * wishes, "a loop"
    for side in Side:
        for option in range(3):
            one, other = ends[0].options.state(side, option), ends[1].options.state(OTHER[side], option)
            assert one is other
            assert one in {State.NO, State.YES}


@given(agreed=willing, words=st.lists(words))
def test_no_more_is_said_than_heard_whatever_the_far_end_does(
    agreed: frozenset[tuple[Side, int]], words: list[Word]
) -> None:
    options = Options(agreed)
    for side, option, yes in words:
        before = options.state(side, option)
        answer = options.hear(side, option, yes=yes)
        after = options.state(side, option)
        # RFC 854: a change is acknowledged, what is so already is not.
        assert (answer is None) is (before is after and not (yes and before is State.NO))
        assert after is State.NO or (side, option) in agreed
