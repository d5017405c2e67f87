"""What is proposed loses nothing, when simulated; and it is the furthest that does."""

import tomllib
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.errors import WrongWords
from gateway.serial.advice import Advice, Proposal, advise, slower
from gateway.serial.framing import Framing, cycles, exact
from gateway.serial.machine import EndsAt, Machine, Receiver, XonXoff
from gateway.serial.reply import Shape
from gateway.serial.report import tables
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Noise, Way
from gateway.wire.ready import READY
from gateway.wire.settings import Settings, change

CR = Settings(eol="cr")
INTERRUPT = Machine(
    Receiver.INTERRUPT, byte_seconds=cycles(2_000), record_seconds=cycles(60_000), service_seconds=cycles(100)
)
POLLED = Machine(byte_seconds=cycles(500), record_seconds=cycles(12_500))


def proposals(advice: Advice) -> list[Proposal]:
    found = (advice.pace, advice.gap, advice.window, advice.flow, advice.best, advice.ready)
    return [each for each in found if each is not None]


def loses_nothing(way: Way, shape: Shape, chosen: Settings) -> bool:
    return simulate(replace(way, settings=chosen, noise=Noise()), shape.lines(chosen)).lossless


machines = st.builds(
    Machine,
    receiver=st.sampled_from(Receiver),
    uart_bytes=st.sampled_from([1, 2, 16]),
    byte_seconds=st.integers(0, 4_000).map(cycles),
    record_seconds=st.integers(0, 90_000).map(cycles),
    service_seconds=st.integers(0, 1_500).map(cycles),
    buffer_bytes=st.integers(8, 255),
    ends_at=st.sampled_from(EndsAt),
)


@settings(max_examples=40, deadline=None)
@given(
    machine=machines,
    baud=st.sampled_from([300, 1_200, 9_600]),
    latency=st.sampled_from([0, 0.002, 0.15]),
    adapter=st.sampled_from([16, 256]),
    grain=st.sampled_from([0, 0.001]),
    eol=st.sampled_from(["crlf", "cr"]),
    records=st.integers(0, 12),
    columns=st.integers(10, 60),
    spare=st.sampled_from([0.0, 0.1]),
)
def test_what_is_proposed_loses_nothing(
    machine: Machine,
    baud: int,
    latency: float,
    adapter: int,
    grain: float,
    eol: str,
    records: int,
    columns: int,
    spare: float,
) -> None:
    if machine.receiver is Receiver.INTERRUPT:
        high = machine.buffer_bytes // 2
        machine = replace(machine, xon=XonXoff(high, high // 3))
    way = Way(
        Framing(baud), machine, Settings(eol=eol), Link(latency, adapter), Noise(0.01), grain_seconds=grain
    )
    shape = Shape(records, columns)
    advice = advise(way, shape, spare)
    for each in proposals(advice):
        for device in (machine, slower(machine, spare)):
            run = simulate(
                replace(way, machine=device, settings=each.settings, noise=Noise()),
                shape.lines(each.settings),
            )
            assert run.lossless, each
        if each.profile:
            assert each.settings == READY[each.profile].settings
    assert advice.best is not None or not loses_nothing(way, shape, replace(way.settings, pace=1))
    if advice.best is not None:
        plain = [each.seconds for each in proposals(advice) if not each.profile]
        assert advice.best.seconds <= min(plain) * Fraction(21, 20)


@pytest.mark.parametrize("machine", [POLLED, INTERRUPT], ids=["polled", "interrupt"])
@pytest.mark.parametrize("baud", [300, 1_200, 9_600, 19_200])
def test_one_step_further_loses_something(machine: Machine, baud: int) -> None:
    way, shape = Way(Framing(baud), machine, CR), Shape(12, 60)
    advice = advise(way, shape, spare=0)
    if advice.unlimited.lossless:
        assert (advice.pace, advice.gap, advice.window) == (None, None, None)
        return
    assert advice.window is not None
    assert advice.pace is not None
    assert advice.gap is not None
    window, pace, gap = advice.window.settings.window, advice.pace.settings.pace, advice.gap.settings.gap
    assert not loses_nothing(way, shape, replace(CR, pace=pace + 1))
    assert not loses_nothing(way, shape, replace(CR, gap=gap - 1))
    assert window + 1 >= 13 or not loses_nothing(way, shape, replace(CR, window=window + 1))


def test_a_polled_machines_limits_by_hand() -> None:
    """No byte after a line end may come before its work is done, but one may wait in the register.

    Pace p: line end, 13,000 cycles of work (the byte's 500 too), and two bytes later the next one is lost if
    the register's is still there: so 2/p is at least 13 ms: 153 a second (2/0.013 = 153.8).
    """
    advice = advise(Way(Framing(9_600), POLLED, CR), Shape(12, 60), spare=0)
    assert advice.pace is not None
    assert advice.pace.settings.pace == 153


def test_what_only_just_loses_nothing_is_not_enough() -> None:
    """A character is 1,041.7 cycles at 1 MHz: 1,030 a byte are in time, and 2 % more, 1,050.6, are not."""
    way, shape = Way(Framing(9_600), Machine(byte_seconds=cycles(1_030)), CR), Shape(12, 60)
    assert simulate(way, shape.lines(CR)).lossless
    assert advise(way, shape, spare=0).enough
    advice = advise(way, shape)
    assert advice.unlimited.lossless
    assert not advice.enough
    assert advice.spare == 0.02
    assert advice.pace is not None
    # A pace alone, so each byte needs its time: 1,000,000 / 1,050.6 is 951.8. Over 12 records of 61 and a
    # status line of 17 bytes it may be a little more: the last byte may wait for one character's time.
    assert 951 <= advice.pace.settings.pace <= 953


def test_a_slower_machine_is_slower_in_all_it_does() -> None:
    machine = Machine(
        Receiver.POLLED,
        byte_seconds=1,
        record_seconds=2,
        service_seconds=3,
        status_seconds=4,
        look_seconds=0.5,
        notice_seconds=0.25,
    )
    tenth = slower(machine, 0.1)
    expected = [Fraction(11, 10) * exact(each) for each in machine.work_seconds]
    assert list(tenth.work_seconds) == expected
    assert slower(replace(machine, status_seconds=None), 0.1).status_seconds is None
    xon = replace(INTERRUPT, xon=XonXoff(9, 3, reaction_seconds=2))
    assert slower(xon, 0.5).xon == XonXoff(9, 3, reaction_seconds=3)


def test_nothing_needed_is_nothing_proposed() -> None:
    advice = advise(Way(Framing(9_600), Machine(byte_seconds=cycles(104)), CR), Shape(20, 40))
    assert advice.best is not None
    assert advice.best.settings == CR
    assert advice.best.words(CR) == ""
    assert advice.ready is None


def test_what_was_set_before_is_taken_back_where_it_only_costs() -> None:
    before = replace(CR, pace=10, mark=True)
    advice = advise(Way(Framing(9_600), Machine(), before), Shape(5, 40))
    assert advice.best is not None
    assert advice.best.words(before) == "pace=0"
    assert advice.best.settings.mark


def test_no_setting_helps_a_routine_that_never_ends_in_time() -> None:
    """A second a byte, where even one character a second... is enough, and 61 s are not possible."""
    slow = Machine(Receiver.INTERRUPT, service_seconds=Fraction(5, 2))
    advice = advise(Way(Framing(9_600), slow, CR), Shape(3, 20))
    assert proposals(advice) == []
    assert advice.best is None


def test_the_words_make_the_settings_and_so_does_the_block() -> None:
    way = Way(Framing(9_600), INTERRUPT, replace(CR, gap=5, guard=True))
    advice = advise(way, Shape(12, 60))
    assert advice.best is not None
    pairs = [word.split("=") for word in advice.best.words(way.settings).split()]
    assert change(way.settings, [(key, value) for key, value in pairs]) == advice.best.settings
    block = tomllib.loads(advice.best.block("my-machine"))["profile"]["my-machine"]
    words = {key: value if isinstance(value, str) else str(value) for key, value in block.items()}
    assert change(Settings(), words.items()) == advice.best.settings


def test_a_ready_profile_is_found_by_trait() -> None:
    """128 bytes and no flow control: two lines of 60; and a noisy line needs a check."""
    advice = advise(Way(Framing(9_600), INTERRUPT, CR), Shape(12, 58))
    assert advice.ready is not None
    assert READY[advice.ready.profile].settings.window
    noisy = advise(Way(Framing(9_600), Machine(), CR, noise=Noise(0.0001)), Shape(12, 58))
    assert noisy.ready is not None
    assert noisy.ready.profile == "NOISY-LINE"
    assert noisy.ready.words(CR) == "noisy-line"


def test_too_wide_for_a_ready_profile_is_passed_over() -> None:
    advice = advise(Way(Framing(9_600), INTERRUPT, CR), Shape(6, 200))
    assert advice.ready is None or READY[advice.ready.profile].settings.most >= 200


def test_spare_time_is_kept() -> None:
    way, shape = Way(Framing(9_600), POLLED, CR), Shape(12, 60)
    close, easy = advise(way, shape, 0), advise(way, shape, 0.2)
    assert close.pace is not None
    assert easy.pace is not None
    assert easy.pace.settings.pace == 128  # 2 / (1.2 * 0.013) = 128.2
    assert close.pace.settings.pace > easy.pace.settings.pace
    with pytest.raises(WrongWords):
        advise(way, shape, -0.1)


def test_a_long_reply_is_tried_in_part_before_it_is_tried_whole() -> None:
    """What it comes to is the same as what the whole reply alone says."""
    shape = Shape(120, 20)
    advice = advise(Way(Framing(9_600), POLLED, CR), shape, spare=0)
    assert advice.pace is not None
    assert advice.pace.settings.pace == 153  # by hand above
    for each in proposals(advice):
        assert loses_nothing(Way(Framing(9_600), POLLED, CR), shape, each.settings)


def test_a_machine_that_can_say_stop_is_offered_that() -> None:
    """It loses bytes of a long reply otherwise: 16 bytes hold it up for some 13 characters of a record."""
    machine = replace(INTERRUPT, buffer_bytes=64, xon=XonXoff(24, 8))
    way, shape = Way(Framing(9_600), machine, CR, Link(0, 16)), Shape(12, 60)
    advice = advise(way, shape, spare=0)
    assert not advice.unlimited.lossless
    assert advice.flow is not None
    assert advice.flow.settings.flow == "xon"
    assert loses_nothing(way, shape, advice.flow.settings)
    table = tables.proposals(advice, way)
    assert any(row[0].startswith("flow=xon") for row in table.rows)
