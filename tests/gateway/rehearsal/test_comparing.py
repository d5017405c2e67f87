"""Lines that came are paired with those that were expected."""

import time
from difflib import SequenceMatcher

from hypothesis import given
from hypothesis import strategies as st

from gateway.rehearsal.comparing import Pair, exactly, paired
from gateway.rehearsal.script.patterns import read_pattern
from gateway.rehearsal.script.steps import Hear, Placed

short = st.lists(st.sampled_from([b"a", b"b", b"c"]), max_size=7)


def pairs_of(expected: list[bytes], came: list[bytes]) -> list[Pair]:
    placed = [Placed(line, Hear(exactly(data))) for line, data in enumerate(expected, 1)]
    return paired(placed, came, "nothing more came")


def shown(pairs: list[Pair]) -> list[tuple[int | None, bytes | None, bool]]:
    def data(pair: Pair) -> bytes | None:
        if not isinstance(pair.came, Hear):
            return None
        return b"".join(getattr(part, "data", b"?") for part in pair.came.pattern.parts)

    return [(None if pair.expected is None else pair.expected.line, data(pair), pair.fits) for pair in pairs]


def longest(one: list[bytes], two: list[bytes]) -> int:
    """The longest common subsequence, worked out again in the plain way."""
    if not one or not two:
        return 0
    if one[0] == two[0]:
        return 1 + longest(one[1:], two[1:])
    return max(longest(one[1:], two), longest(one, two[1:]))


@given(short.filter(bool), short)
def test_as_many_fit_as_can(expected: list[bytes], came: list[bytes]) -> None:
    pairs = pairs_of(expected, came)
    assert [data for _, data, _ in shown(pairs) if data is not None] == came
    assert [line for line, _, _ in shown(pairs) if line is not None] == list(range(1, len(expected) + 1))
    assert sum(pair.fits for pair in pairs) == longest(expected, came)
    matcher = SequenceMatcher(None, expected, came, autojunk=False)  # the standard library's, no better
    assert sum(pair.fits for pair in pairs) >= sum(block.size for block in matcher.get_matching_blocks())


def test_one_more_and_one_less() -> None:
    assert shown(pairs_of([b"a", b"b", b"c"], [b"a", b"x", b"b", b"c"])) == [
        (1, b"a", True),
        (None, b"x", False),
        (2, b"b", True),
        (3, b"c", True),
    ]
    pairs = pairs_of([b"a", b"b", b"c"], [b"a", b"c"])
    assert shown(pairs) == [(1, b"a", True), (2, None, False), (3, b"c", True)]
    assert pairs[1].why == "nothing more came"


def test_a_line_that_came_as_well_stands_behind_the_one_before() -> None:
    extra = pairs_of([b"a", b"b"], [b"a", b"x", b"b"])[1]
    assert (extra.line, extra.why) == (1, "came as well")


def test_very_many_lines_are_compared_one_by_one() -> None:
    expected = [b"%d" % number for number in range(2000)]
    pairs = pairs_of(expected, [b"x"] * 2000)
    assert len(pairs) == 2000
    assert not any(pair.fits for pair in pairs)


def test_very_many_lines_take_no_time() -> None:
    """Pairs that regular expressions would be tried on are the dear ones."""
    pattern = read_pattern("{any}7{any}8{any}")
    placed = [Placed(line, Hear(pattern)) for line in range(1, 1_001)]
    began = time.monotonic()
    pairs = paired(placed, [b"7" * 200] * 1_000, "nothing more came")
    assert time.monotonic() - began < 5
    assert len(pairs) == 1_000
    assert not any(pair.fits for pair in pairs)
