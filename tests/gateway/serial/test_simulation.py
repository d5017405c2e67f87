"""One reply's way: hand arithmetic, a second simulator that steps, and what must always hold."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from time import process_time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import WrongWords
from gateway.serial.framing import Framing, Parity, cycles
from gateway.serial.machine import EndsAt, Machine, Overrun, Receiver, XonXoff
from gateway.serial.reply import Shape
from gateway.serial.run import Where
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Noise, Way
from gateway.wire.settings import Settings
from tests.gateway.serial.stepping import Stepped, step_through

CR = Settings(eol="cr")
LINE = b"0123456789" * 9 + b"012345678\r"  # 100 characters


def polled(character: Fraction, of_byte: Fraction | int, of_record: Fraction | int = 0) -> Machine:
    return Machine(byte_seconds=character * of_byte, record_seconds=character * of_record)


@pytest.mark.parametrize(
    ("baud", "seconds"),
    [
        (300, Fraction(1_000, 30)),
        (1_200, Fraction(1_000, 120)),
        (2_400, Fraction(1_000, 240)),
        (9_600, Fraction(1_000, 960)),  # 1.0417 s
        (19_200, Fraction(1_000, 1_920)),
    ],
)
def test_a_thousand_characters_take_as_long_as_the_line_needs(baud: int, seconds: Fraction) -> None:
    """8N1 is ten bits a character: common practice."""
    run = simulate(Way(Framing(baud), settings=CR), [LINE] * 10)
    assert run.finished == run.busy == seconds
    assert (run.sent, run.intact, run.lossless, run.load) == (1_000, 1_000, True, 1.0)
    assert run.received == LINE * 10


def test_a_teleprinter_of_110_bits_a_second_writes_ten_characters_a_second() -> None:
    """Two stop bits, eleven bits a character: common practice, from memory."""
    run = simulate(Way(Framing(110, 7, Parity.EVEN, 2), settings=CR), [LINE])
    assert run.finished == 10


def test_the_program_is_done_when_its_last_record_is() -> None:
    framing = Framing(9_600)
    machine = Machine(byte_seconds=cycles(500), record_seconds=cycles(800))
    run = simulate(Way(framing, machine, CR), [b"A\r", b"B\r"])
    assert run.finished == 4 * framing.seconds + cycles(1_300)


def test_exactly_one_characters_time_for_each_byte_loses_none() -> None:
    framing = Framing(9_600)
    run = simulate(Way(framing, polled(framing.seconds, 1), CR), [LINE] * 50)
    assert run.lossless
    assert (run.largest, run.uart_largest) == (1, 1)


@pytest.mark.parametrize("every", [10, 20, 50])
def test_a_little_more_than_a_characters_time_loses_every_so_many_th_byte(every: int) -> None:
    """Who needs 1 + 1/n characters' time for a byte takes n of n + 1, so one in n + 1 is lost.

    Byte m is in at m + 1 and loses itself if byte m - 1 is taken later, at 1 + (m - 1)(1 + 1/n): so
    m = n + 2 is the first.
    """
    framing = Framing(9_600)
    machine = polled(framing.seconds, 1 + Fraction(1, every))
    run = simulate(Way(framing, machine, CR), [bytes(2_000) + b"\r"])
    gaps = [b.index - a.index for a, b in pairwise(run.losses)]
    assert set(gaps) == {every + 1}
    assert run.losses[0].index == every + 2


def test_the_holding_register_gives_one_characters_time_of_slack() -> None:
    """Two characters' time less the byte's own is enough for a record's work; a little more of it is not."""
    framing = Framing(9_600)
    half = Fraction(1, 2)
    just = Way(framing, polled(framing.seconds, half, Fraction(3, 2)), CR)
    assert simulate(just, [LINE] * 20).lossless
    more = Way(framing, polled(framing.seconds, half, Fraction(3, 2) + Fraction(1, 10**9)), CR)
    run = simulate(more, [LINE] * 20)
    assert [(each.line, each.column) for each in run.losses] == [(line, 2) for line in range(1, 20)]
    assert {each.where for each in run.losses} == {Where.UART}


def test_a_fifo_of_n_gives_n_characters_time() -> None:
    framing = Framing(9_600)
    for size in (1, 4, 16):
        work = size + Fraction(1, 2)
        machine = replace(polled(framing.seconds, Fraction(1, 2), work), uart_bytes=size)
        assert simulate(Way(framing, machine, CR), [LINE] * 20).lossless
        machine = replace(polled(framing.seconds, Fraction(1, 2), work + Fraction(1, 100)), uart_bytes=size)
        run = simulate(Way(framing, machine, CR), [LINE] * 20)
        assert run.losses[0].column == size + 1
        assert run.largest == size


def test_an_overrun_loses_the_new_byte_or_the_one_before() -> None:
    framing = Framing(9_600)
    machine = polled(framing.seconds, Fraction(5, 2))
    new = simulate(Way(framing, machine, CR), [b"ABCDEF\r"])
    assert new.received == b"ABDF"  # C, E and CR came while B, D and F were held
    assert [each.index for each in new.losses] == [2, 4, 6]
    old = simulate(Way(framing, replace(machine, overrun=Overrun.OLD), CR), [b"ABCDEF\r"])
    assert old.received == b"ACE\r"
    assert [each.index for each in old.losses] == [1, 3, 5]
    assert new.finished is None
    assert old.finished is not None


def test_at_cr_or_at_lf() -> None:
    """Who works on the record at CR has LF come meanwhile; who does at LF has an empty register then."""
    framing = Framing(9_600)
    first = polled(framing.seconds, Fraction(1, 4), Fraction(2))
    lines = [b"ABCDEFGH\r\n"] * 5
    run = simulate(Way(framing, first, Settings()), lines)
    assert [(each.line, each.column) for each in run.losses] == [(line, 1) for line in range(1, 5)]
    last = replace(first, ends_at=EndsAt.LAST, record_seconds=framing.seconds * Fraction(7, 4))
    assert simulate(Way(framing, last, Settings()), lines).lossless


def test_a_buffer_overflows_where_nobody_takes_bytes() -> None:
    """The program works on the status line's end for a minute: the next 128 bytes fit, the 129th does not."""
    machine = Machine(Receiver.INTERRUPT, record_seconds=60, buffer_bytes=128)
    run = simulate(Way(Framing(9_600), machine, CR), [b"X" * 16 + b"\r", *[LINE] * 4])
    assert run.losses[0].index == 17 + 128
    assert {each.where for each in run.losses} == {Where.BUFFER}
    assert (run.largest, len(run.losses)) == (128, 400 - 128)


def test_an_interrupt_routine_takes_its_time_from_the_program() -> None:
    """A byte of work begun at 2 T, 2.5 T long, with routines of T / 4 at its start, and at 3 T and 4 T."""
    framing = Framing(9_600)
    each = framing.seconds
    machine = Machine(Receiver.INTERRUPT, service_seconds=each / 4, byte_seconds=each * Fraction(5, 2))
    run = simulate(Way(framing, machine, CR), [b"A\r"])
    # A is in at T, in the buffer at 1.25 T; its work, 2.5 T, is interrupted at 2 T for 0.25 T: done at 4 T.
    # CR's work then takes 2.5 T.
    assert run.finished == each * Fraction(13, 2)


def test_a_routine_slower_than_the_line_loses_bytes_in_the_uart() -> None:
    framing = Framing(9_600)
    machine = Machine(Receiver.INTERRUPT, service_seconds=framing.seconds)
    assert simulate(Way(framing, machine, CR), [LINE] * 5).lossless
    machine = Machine(Receiver.INTERRUPT, service_seconds=framing.seconds * Fraction(21, 20))
    run = simulate(Way(framing, machine, CR), [LINE] * 5)
    assert {each.where for each in run.losses} == {Where.UART}


def test_a_window_waits_for_an_empty_line_there_and_back() -> None:
    """Two lines, then one CR back (10 bits) and the latency, twice."""
    framing = Framing(9_600)
    way = Way(framing, settings=replace(CR, window=2), link=Link(latency=0.25))
    run = simulate(way, [b"AB\r"] * 6)
    assert run.finished == 3 * (Fraction(1, 4) + 6 * framing.seconds) + 2 * (framing.seconds + Fraction(1, 4))
    crlf = simulate(replace(way, settings=replace(way.settings, eol="crlf")), [b"AB\r\n"] * 6)
    assert crlf.finished is not None
    assert crlf.finished > run.finished


def test_a_window_whose_last_line_end_is_lost_holds_the_rest_for_ever() -> None:
    framing = Framing(9_600)
    machine = replace(polled(framing.seconds, Fraction(5, 2)), overrun=Overrun.NEW)
    run = simulate(Way(framing, machine, replace(CR, window=1)), [b"ABCDEF\r"] * 3)
    assert (run.sent, run.unsent, run.finished) == (7, 14, None)
    assert not run.lossless


def test_a_pace_and_a_gap_are_kept() -> None:
    """11 bytes at 100 a second: the last leaves after 0.1 s; a line's gap begins when its last is through."""
    way = Way(Framing(9_600), settings=replace(CR, pace=100))
    assert simulate(way, [b"0123456789\r"]).finished == Fraction(10, 100) + Fraction(1, 960)
    way = Way(Framing(9_600), settings=replace(CR, pace=100, gap=50))
    run = simulate(way, [b"0123456789\r"] * 3)
    assert run.finished == 2 * (Fraction(11, 100) + Fraction(50, 1000)) + Fraction(10, 100) + Fraction(1, 960)


def test_a_gateway_that_looks_rarely_sends_bytes_together() -> None:
    """100 characters a second, looked at every 50 ms: five bytes at a time, which come in a row."""
    framing = Framing(9_600)
    machine = polled(framing.seconds, 2)
    way = Way(framing, machine, replace(CR, pace=100))
    assert simulate(way, [LINE]).lossless
    run = simulate(replace(way, grain_seconds=0.05), [LINE])
    assert 0 < len(run.losses) < 50


def test_the_adapter_holds_what_was_sent_before_13h_came() -> None:
    """A buffer of 64 that asks to wait at 48: an adapter of 8 bytes stops in time, one of 256 does not."""
    machine = Machine(Receiver.INTERRUPT, byte_seconds=cycles(2_000), buffer_bytes=64, xon=XonXoff(48, 16))
    settings_ = replace(CR, flow="xon")
    assert simulate(Way(Framing(9_600), machine, settings_, Link(adapter_bytes=8)), [LINE] * 10).lossless
    assert simulate(Way(Framing(9_600), machine, settings_, Link(adapter_bytes=256)), [LINE] * 10).losses
    own = Link(adapter_bytes=256, adapter_xon=True)
    assert simulate(Way(Framing(9_600), machine, CR, own), [LINE] * 10).lossless
    assert simulate(Way(Framing(9_600), machine, CR, Link(adapter_bytes=8)), [LINE] * 10).losses


def test_after_a_pause_the_pace_goes_on_as_it_was() -> None:
    """One byte waits for the other at 100 a second; what the pause held back does not come all at once."""
    machine = Machine(Receiver.INTERRUPT, record_seconds=0.5, buffer_bytes=32, xon=XonXoff(4, 1))
    run = simulate(Way(Framing(9_600), machine, replace(CR, pace=100, flow="xon")), [LINE] * 2, trace=True)
    assert run.lossless
    came = [at for (_, size), (at, more) in zip(run.filling, run.filling[1:], strict=False) if more > size]
    assert len(came) > 190
    assert all(b - a >= Fraction(1, 100) for a, b in pairwise(came))


def test_lines_without_ends_are_counted() -> None:
    machine = Machine(record_seconds=cycles(500))
    run = simulate(Way(Framing(9_600), machine, Settings(eol="none")), [b"ABC", b"DE", b"F"])
    assert run.finished == Fraction(6, 960) + cycles(500)
    windowed = Way(Framing(9_600), machine, Settings(eol="none", window=1))
    run = simulate(windowed, [b"ABC", b"DE", b"F"])  # the answer is one character: an empty line has its end
    assert run.finished == Fraction(6 + 2, 960) + 3 * cycles(500)


def test_seven_data_bits_strip_the_eighth() -> None:
    assert simulate(Way(Framing(300, 7, Parity.EVEN), settings=CR), [b"\xc1B\r"]).received == b"AB\r"


def test_nothing_and_too_much_are_refused() -> None:
    way = Way(Framing(300))
    with pytest.raises(WrongWords):
        simulate(way, [])
    with pytest.raises(WrongWords):
        simulate(way, [bytes(limits.SERIAL_REPLY_BYTES + 1)])


# A second simulator, moment by moment; four steps a second, a line of so many bits that characters are whole.

QUARTER = Fraction(1, 4)
LINES = st.lists(st.integers(0, 9).map(lambda size: b"x" * size + b"\r\n"), min_size=1, max_size=6).map(tuple)


@st.composite
def cases(draw: st.DrawFn) -> Stepped:
    buffer = draw(st.integers(1, 12))
    polled_ = draw(st.booleans())
    high = None if polled_ else draw(st.none() | st.integers(1, buffer))
    byte = draw(st.integers(1, 9))
    return Stepped(
        lines=draw(LINES),
        end=draw(st.sampled_from(b"\r\n")),
        character=4,
        polled=polled_,
        uart=draw(st.integers(1, 3)),
        overwrites=draw(st.booleans()),
        byte=byte,
        status=draw(st.integers(0, 40)),
        record=draw(st.integers(0, 40)),
        service=draw(st.integers(1, 6)),
        buffer=buffer,
        high=high,
        low=0 if high is None else draw(st.integers(0, high - 1)),
        window=draw(st.integers(0, 3)),
        latency=draw(st.sampled_from([0, 0, 1, 5, 12])),
        adapter=draw(st.integers(1, 30)),
        answer=2,
        apart=draw(st.sampled_from([0, 0, 1, 2, 4])),
        gap=draw(st.sampled_from([0, 0, 1, 7, 40])),
        look=draw(st.sampled_from([0, 0, 1, 2, 3, 5, 9])) if polled_ else 0,
        notice=draw(st.integers(0, byte)) if polled_ else 0,
    )


def way_of(case: Stepped) -> Way:
    """Ten bits a second and ten bits a character: one second, four steps."""
    return Way(
        Framing(10),
        Machine(
            Receiver.POLLED if case.polled else Receiver.INTERRUPT,
            case.uart,
            Overrun.OLD if case.overwrites else Overrun.NEW,
            case.byte * QUARTER,
            case.record * QUARTER,
            case.service * QUARTER,
            case.buffer,
            EndsAt.FIRST if case.end == 13 else EndsAt.LAST,
            None if case.high is None else XonXoff(case.high, case.low),
            case.status * QUARTER,
            case.look * QUARTER,
            case.notice * QUARTER,
        ),
        Settings(
            window=case.window, flow="xon", pace=4 // case.apart if case.apart else 0, gap=250 * case.gap
        ),
        Link(case.latency * QUARTER, case.adapter),
    )


@settings(max_examples=400, deadline=None)
@given(cases())
def test_it_agrees_with_a_simulator_that_steps(case: Stepped) -> None:
    run, outcome = simulate(way_of(case), case.lines), step_through(case)
    assert run.received == outcome.received
    assert tuple(each.index for each in run.losses) == outcome.lost
    assert run.unsent == outcome.unsent
    assert run.largest == outcome.largest
    ends = sum(map(len, case.lines)) - 1 if case.end == 10 else sum(map(len, case.lines)) - 2
    if ends in outcome.lost or run.unsent:
        assert run.finished is None
    else:
        assert run.finished == outcome.ends[-1] * QUARTER


@settings(deadline=None)
@given(cases(), st.sampled_from([0.0, 0.001, 0.05, 0.5]), st.integers(0, 99), st.sampled_from(Parity))
def test_no_byte_comes_from_nowhere_or_goes_nowhere(
    case: Stepped, rate: float, seed: int, parity: Parity
) -> None:
    way = way_of(case)
    way = replace(way, noise=Noise(rate, seed), framing=replace(way.framing, parity=parity))
    run = simulate(way, case.lines, trace=True)
    whole = sum(map(len, case.lines))
    assert run.sent + run.unsent == whole
    assert run.sent == run.intact + run.garbled + len(run.losses)
    assert len(run.received) == run.intact + run.garbled
    assert 0 <= run.marked <= run.garbled
    assert [each.index for each in run.losses] == sorted({each.index for each in run.losses})
    times = [seconds for seconds, _ in run.filling]
    assert times == sorted(times)
    assert all(0 <= size <= (case.uart if case.polled else case.buffer) for _, size in run.filling)
    assert not run.filling or run.filling[-1][1] == 0
    assert run.largest == max((size for _, size in run.filling), default=0)
    assert 0 <= run.load <= 1
    assert simulate(way, case.lines, trace=True) == run


@settings(deadline=None)
@given(cases())
def test_stopping_at_a_loss_tells_whether_there_is_one(case: Stepped) -> None:
    way = way_of(case)
    assert simulate(way, case.lines, stop_at_loss=True).lossless == simulate(way, case.lines).lossless


@settings(deadline=None)
@given(
    machine=st.builds(
        Machine,
        uart_bytes=st.integers(1, 3),
        byte_seconds=st.integers(0, 12).map(lambda each: each * Fraction(1, 10)),
        record_seconds=st.integers(0, 60).map(lambda each: each * Fraction(1, 10)),
    ),
    lines=LINES,
    pace=st.integers(1, 10),
)
def test_half_the_pace_of_what_loses_nothing_loses_nothing(
    machine: Machine, lines: tuple[bytes, ...], pace: int
) -> None:
    """A polled receiver alone: each byte comes later after the one before, and so finds more room."""
    way = Way(Framing(100), machine, Settings(pace=2 * pace))
    if simulate(way, lines).lossless:
        assert simulate(replace(way, settings=Settings(pace=pace)), lines).lossless


def test_a_thousand_records_of_eighty_take_well_under_two_seconds_of_computing() -> None:
    """Of the processor's time, whatever else the machine is doing: 0.15 s where this was written."""
    way = Way(Framing(9_600), Machine(Receiver.INTERRUPT, service_seconds=cycles(100)), CR)
    begun = process_time()
    run = simulate(way, Shape(1_000, 80).lines(CR))
    assert process_time() - begun < 2
    assert run.lossless
    assert run.finished is not None
    assert abs(run.finished - Fraction(17 + 81_000, 960)) < 1
