"""Two hundred calls at once through `headrace serve`, each byte checked; tests/bench has the long run."""

import statistics

from tests.bench.bench_streams import measure
from tests.faults.streams.calls import Kind
from tests.faults.streams.crowd import PACES, SHARES, Figures

CALLS, SECONDS = 200, 20.0


def test_two_hundred_calls_at_once() -> None:
    """One run for all that is to be seen in it, which is then looked at."""
    figures, _ = measure(CALLS, SECONDS, pinned=False)
    print("\n".join(figures.lines()))
    no_byte_is_lost_doubled_swapped_or_anothers(figures)
    a_flood_comes_at_its_clients_pace(figures)
    the_others_do_not_wait_for_it(figures)
    what_waits_is_bounded(figures)


def no_byte_is_lost_doubled_swapped_or_anothers(figures: Figures) -> None:
    assert figures.wrong == []
    for kind, share in SHARES.items():
        again = kind in {Kind.RESET, Kind.GONE}
        assert figures.calls[kind] >= CALLS * share * (3 if again else 1), kind
    assert figures.ended == CALLS * SHARES[Kind.STEADY]  # to the last byte, both ways
    assert figures.left_open == 0


def a_flood_comes_at_its_clients_pace(figures: Figures) -> None:
    assert figures.early <= 0
    for pace in PACES:
        errors = figures.rates[pace]
        assert len(errors) == CALLS * SHARES[Kind.FLOOD] / len(PACES)
        assert abs(statistics.median(errors)) < 0.03
        assert max(map(abs, errors)) < 0.1  # a machine that does other things too may rest for long


def the_others_do_not_wait_for_it(figures: Figures) -> None:
    """They are seen in hundredths of a second; the bounds are for a machine that does other things too."""
    for late in (figures.down, figures.up):
        assert len(late) > 1_000
        assert statistics.median(late) < 0.25
        assert statistics.quantiles(late, n=100)[-1] < 2


def what_waits_is_bounded(figures: Figures) -> None:
    """In the gateway, and on its way with the buffers of four sockets."""
    assert max(figures.memory) - figures.memory[0] < 16 << 10  # KiB
    for most in figures.held.values():
        assert 16_384 < most[-1] < 16 << 20
        assert most[-1] <= most[len(most) // 2] + (64 << 10)  # it has stopped growing
