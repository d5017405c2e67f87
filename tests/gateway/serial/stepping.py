"""A line and a machine stepped moment by moment: slow, simple, and written apart from the event simulation.

Times are whole steps. The text of gateway/serial/machine.py and way.py is what both are written from.
"""

from collections import deque
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stepped:
    """A case in steps; work takes at least one step."""

    lines: tuple[bytes, ...]
    end: int  # the byte that ends a line for the program
    character: int
    polled: bool
    uart: int
    overwrites: bool
    byte: int
    status: int
    record: int
    service: int
    buffer: int
    high: int | None
    low: int
    window: int
    latency: int
    adapter: int
    answer: int  # characters of an empty line
    apart: int  # steps from one byte of a pace to the next, 0: no pace
    gap: int
    look: int  # steps of a turn of a polled receiver's waiting loop, 0: each moment
    notice: int  # from a look that sees a byte to taking it; not more than `byte`


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the program got, what was lost (in the order sent), and when lines were done with."""

    received: bytes
    lost: tuple[int, ...]
    ends: tuple[int, ...]
    largest: int
    unsent: int


def step_through(case: Stepped) -> Outcome:
    """Until nothing happens any more."""
    data = [(number, value) for number, value in enumerate(b"".join(case.lines))]
    starts = [sum(map(len, case.lines[:count])) for count in range(len(case.lines))]
    waits = {
        starts[count]: count for count in range(1, len(starts)) if case.window and count % case.window == 0
    }
    released = 0  # bytes that left the gateway
    to_adapter: deque[tuple[int, tuple[int, int]]] = deque()
    adapter: deque[tuple[int, int]] = deque()
    on_line: tuple[int, tuple[int, int]] | None = None  # when it is in completely
    room_known: deque[int] = deque()  # when the gateway knows of room
    room = case.adapter
    uart: deque[tuple[int, int]] = deque()
    buffer: deque[tuple[int, int]] = deque()
    serving = working = 0  # steps left
    busy = served = False
    look_at = -case.notice  # of a polled receiver that waits or works
    take_at: int | None = None  # of one that has seen a byte
    ending = False
    received = bytearray()
    lost: list[int] = []
    ends: list[int] = []
    flow: deque[tuple[int, bool]] = deque()
    paused = sent_xoff = False
    largest = 0
    quiet = now = due = 0
    line_ends = {start - 1 for start in starts[1:]}

    def filled() -> None:
        nonlocal sent_xoff, largest
        waiting = len(uart) if case.polled else len(buffer)
        largest = max(largest, waiting)
        if case.polled or case.high is None:
            return
        if not sent_xoff and waiting >= case.high:
            sent_xoff = True
            flow.append((now + case.character + case.latency, True))
        elif sent_xoff and waiting <= case.low:
            sent_xoff = False
            flow.append((now + case.character + case.latency, False))

    def take(source: deque[tuple[int, int]]) -> None:
        nonlocal busy, working, ending, look_at, take_at
        _, value = source.popleft()
        received.append(value)
        filled()
        busy, ending = True, value == case.end
        lines_taken = sum(each == case.end for each in received)
        working = case.byte + ((case.status if lines_taken == 1 else case.record) if ending else 0)
        look_at, take_at = now + working - case.notice, None

    def look() -> None:
        """Of a polled receiver, once before the line and once after it: it sees what came at its moment."""
        nonlocal take_at
        if look_at == now and take_at is None and uart:
            take_at = now + case.notice
        if take_at == now:
            take(uart)

    while quiet < 40 * case.character + 4 * (case.latency + case.record + case.byte + case.gap) + 100:
        before = (released, len(received), len(lost), len(ends))
        if busy and working == 0 and not served:  # the program first
            busy = False
            if ending:
                ends.append(now)
            if not case.polled and buffer:
                take(buffer)
        if case.polled:
            look()
        if served and serving == 0:  # then the routine's end
            served = False
            arrived = uart.popleft()
            if len(buffer) == case.buffer:
                lost.append(arrived[0])
            else:
                buffer.append(arrived)
                filled()
            if uart:
                served, serving = True, case.service
            elif not busy and buffer:
                take(buffer)
        if on_line is not None and on_line[0] == now:  # then the line
            arrived, on_line = on_line[1], None
            if len(uart) < case.uart:
                uart.append(arrived)
            elif case.overwrites:
                lost.append(uart.pop()[0])
                uart.append(arrived)
            else:
                lost.append(arrived[0])
            if case.polled:
                filled()
            elif not served and uart:
                served, serving = True, case.service
        if case.polled:
            look()
            while look_at <= now and take_at is None:
                look_at += case.look or 1
        while flow and flow[0][0] <= now:
            paused = flow.popleft()[1]
        while room_known and room_known[0] <= now:
            room_known.popleft()
            room += 1
        moving = True
        while moving:
            moving = False
            if released < len(data) and room and not paused and due <= now:
                count = waits.get(released)
                answered = count is None or (
                    len(ends) >= count
                    and ends[count - 1] + case.answer * case.character + case.latency <= now
                )
                if answered:
                    to_adapter.append((now + case.latency, data[released]))
                    due = now + case.apart + (case.gap if released in line_ends else 0)
                    released, room, moving = released + 1, room - 1, True
            while to_adapter and to_adapter[0][0] <= now:
                adapter.append(to_adapter.popleft()[1])
            if adapter and on_line is None:
                on_line = (now + case.character, adapter.popleft())
                room_known.append(now + case.latency)
                if case.latency == 0:
                    room_known.pop()
                    room, moving = room + 1, True
        if served:
            serving -= 1
        elif busy:
            working -= 1
        now += 1
        quiet = 0 if (released, len(received), len(lost), len(ends)) != before else quiet + 1
    return Outcome(bytes(received), tuple(sorted(lost)), tuple(ends), largest, len(data) - released)
