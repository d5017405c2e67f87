"""A receiver by itself: it is advanced no further than it is told."""

from dataclasses import replace

import pytest

from gateway.serial.machine import Overrun
from gateway.serial.receivers import NEVER, Interrupt, Polled, Receiver, Work

WORK = Work(
    uart_bytes=1,
    overrun=Overrun.NEW,
    byte=4,
    status=20,
    record=20,
    service=2,
    buffer_bytes=4,
    high=3,
    low=1,
    end=13,
    lengths=[3, 3],
)


def fed(receiver: Receiver, data: bytes, every: int = 10) -> Receiver:
    for number, value in enumerate(data, 1):
        receiver.pending.append((number * every, number - 1, value))
    return receiver


@pytest.mark.parametrize(
    ("kind", "work"), [(Polled, WORK), (Polled, replace(WORK, look=3, notice=2)), (Interrupt, WORK)]
)
@pytest.mark.parametrize("step", [1, 3, 7, 50])
def test_how_far_it_is_advanced_at_once_changes_nothing(kind: type[Receiver], work: Work, step: int) -> None:
    data = b"AB\rCDEFG\rH\r"
    whole = fed(kind(work, trace=True), data)
    whole.advance(NEVER)
    pieces = fed(kind(work, trace=True), data)
    for until in range(0, 400, step):
        pieces.advance(until)
    for name in ("received", "numbers", "lost", "ends", "flow", "filling", "largest"):
        assert getattr(pieces, name) == getattr(whole, name), name


@pytest.mark.parametrize("kind", [Polled, Interrupt])
def test_it_stops_at_a_line_end(kind: type[Receiver]) -> None:
    receiver = fed(kind(WORK), b"AB\rCDEFG\rH\r", every=50)
    assert receiver.advance(NEVER, to_signal=True)
    assert receiver.received == b"AB\r"
    assert len(receiver.pending) == 8
    assert receiver.advance(NEVER, to_signal=True)
    assert receiver.received == b"AB\rCDEFG\r"


def test_times_of_a_polled_receiver() -> None:
    """Taken at 10, 20 and 30; CR's work is 4 + 20."""
    receiver = fed(Polled(WORK), b"AB\r")
    receiver.advance(NEVER)
    assert receiver.ends == [(54, 2)]


def looking(times: list[int], overrun: Overrun = Overrun.NEW) -> Receiver:
    """Bytes A, B .. come at `times` to a loop of 9 ticks a turn that needs 8 to take what it sees."""
    work = replace(WORK, byte=40, look=9, notice=8, overrun=overrun)
    receiver = Polled(work, trace=True)
    receiver.pending.extend((at, number, 65 + number) for number, at in enumerate(times))
    receiver.advance(NEVER)
    return receiver


def taken(receiver: Receiver) -> list[int]:
    return [at for at, size in receiver.filling if size == 0]


def test_a_look_sees_what_has_come_by_then() -> None:
    """By hand: looks are at -8, 1, 10 .. 100 .. until one sees a byte, and again 32 after each take.

    The look at 100 sees the byte of 100. After 108 looks are at 140, 149 .. 194, 203, so the byte of 200 is
    taken at 211; after that at 243: it sees the byte of 243 at once, and that is taken at 251. The byte of
    284 comes a tick too late for the look at 283.
    """
    receiver = looking([100, 200, 243, 284])
    assert taken(receiver) == [108, 211, 251, 300]
    assert receiver.lost == []


def test_between_the_look_and_the_taking_a_byte_is_lost() -> None:
    """Seen at 100, taken at 108: what comes at 107 overruns, what comes at 108 does not."""
    kept = looking([100, 108])
    assert kept.received == b"AB"
    assert kept.lost == []
    new = looking([100, 107])
    assert (bytes(new.received), taken(new), new.lost[0][:2]) == (b"A", [108], (107, 1))
    old = looking([100, 107], Overrun.OLD)
    assert (bytes(old.received), taken(old), old.lost[0][:2]) == (b"B", [108], (107, 0))


def test_flow_characters_are_sent_at_their_marks() -> None:
    """Bytes of 40 ticks' work, one every 10, each in the buffer 2 later.

    The first is taken at 12. The ones of 22, 32 and 42 make three: 13h. Each routine of 2 ticks in between
    puts the program's work off.
    """
    receiver = fed(Interrupt(replace(WORK, byte=40)), b"ABCD")
    receiver.advance(NEVER)
    assert receiver.flow[0] == (42, True)
    assert [paused for _, paused in receiver.flow] == [True, False]
    # A's work ends at 12 + 40 + 3 * 2 = 58, when B is taken, and C at 98 leaves one: 11h.
    assert receiver.flow[1] == (98, False)


def test_lines_without_an_end_are_counted() -> None:
    receiver = fed(Polled(replace(WORK, end=None, lengths=[3, 2, 1])), b"ABCDEF", every=50)
    receiver.advance(NEVER)
    assert [number for _, number in receiver.ends] == [2, 4, 5]
