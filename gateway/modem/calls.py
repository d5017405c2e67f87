"""Commands about calls, what the network does, and the time -> effects: the calls of one modem.

How a dial that fails is told, and how long what may take, is V.250's (sections 6.2.7 and 6.3), with a network
that always has a tone and never keeps anybody waiting for it.
"""

from enum import Enum
from typing import Final

from adapters.errors import WrongWords
from gateway.modem.commands import Call
from gateway.modem.dialling import DialString
from gateway.modem.effects import Answer, Carrier, Dial, HangUp, Refuse, Send
from gateway.modem.results import Failure, Result, outcome
from gateway.modem.terminal import Terminal
from gateway.wire.escape import Escape

RING_SECONDS: Final = 6.0
"""From one RING to the next: common practice, after the ringing of many countries."""


class State(Enum):
    """What a modem is doing."""

    COMMAND = "command state, no call"
    RINGING = "command state, somebody calls"
    DIALLING = "a call is being made"
    ANSWERING = "a call is being taken"
    ONLINE = "online data state"
    ONLINE_COMMAND = "online command state"


_CALL: Final = frozenset({State.ONLINE, State.ONLINE_COMMAND})
_ATTEMPT: Final = frozenset({State.DIALLING, State.ANSWERING})


class Calls:
    """The state, and what changes it. Before any method `run_due` is called with the same time."""

    def __init__(self, terminal: Terminal) -> None:
        self.state = State.COMMAND
        self.carrier = terminal.parameters.carrier == 0  # what its line shows
        self.terminal_ready = True
        self._terminal = terminal
        self._escape = Escape(0.0, parity=True)
        self._timer: float | None = None  # next RING, the call, giving up, or NO CARRIER, as the state says
        self._begun = DialString()  # dialled so far, with `;`
        self._waiting: DialString | None = None  # its pauses are not over
        self._called = DialString()
        self._rings = 0
        self._lost = False  # the far end has gone, and S10 is not over
        self._kept = bytearray()  # came from the far end during online command state

    # The clock

    def due(self) -> float | None:
        """When `run_due` is wanted; None: not before something happens."""
        times = [time for time in (self._timer, self._escape_due()) if time is not None]
        return min(times, default=None)

    def run_due(self, now: float) -> None:
        """Do what has become due."""
        escape = self._escape_due()
        if escape is not None and now >= escape:
            self._silence(now)
        if self._timer is not None and now >= self._timer:
            self._time_is_up(now)

    def _escape_due(self) -> float | None:
        return self._escape.due if self.state is State.ONLINE else None

    def _silence(self, now: float) -> None:
        if not self._escape.at(now):
            self._terminal.want(Send(self._escape.release(now)))
            return
        self.state = State.ONLINE_COMMAND
        self._terminal.say(Result.OK)

    def _time_is_up(self, now: float) -> None:
        due, self._timer = self._timer, None
        if self.state is State.RINGING:
            self._ring(now if due is None or now >= due + RING_SECONDS else due)
        elif self.state in _CALL:
            self.end(Result.NO_CARRIER)
        elif self._waiting is not None:
            self._place(self._waiting, now)
        else:
            failure = Failure.SILENT if self.state is State.DIALLING else Failure.REFUSED
            self.end(outcome(failure, self._called, self._terminal.parameters))

    # The terminal's side

    @property
    def attempting(self) -> bool:
        """Whether a call is being made or taken, which anything typed ends."""
        return self.state in _ATTEMPT

    @property
    def in_call(self) -> bool:
        """Whether there is a call, whoever hears the terminal now."""
        return self.state in _CALL

    def send(self, data: bytes, now: float) -> None:
        """Data of the call."""
        goes_on = b"" if self._lost else self._escape.feed(data, now)
        if goes_on:
            self._terminal.want(Send(goes_on))

    def pause_data(self) -> None:
        """To online command state, without an escape sequence."""
        self._release()
        self.state = State.ONLINE_COMMAND
        self._terminal.say(Result.OK)

    def forget_begun(self) -> None:
        """Drop what was dialled with `;`."""
        self._begun = DialString()

    def dial(self, command: Call, now: float) -> bool:
        """D. Whether the line goes on. WrongWords: there is a call."""
        self._need_no_call()
        whole = self._begun.joined(command.string)
        self._begun = whole if command.more else DialString()
        if command.more:
            return True
        if not whole.text:
            self._terminal.say(Result.NO_CARRIER)
            return False
        if self.state is State.RINGING:
            self._terminal.want(Refuse())
        self.state = State.DIALLING
        seconds = whole.pauses * self._terminal.parameters.pause
        if seconds:
            self._waiting = whole
            self._timer = now + seconds
        else:
            self._place(whole, now)
        return False

    def _place(self, string: DialString, now: float) -> None:
        """S7 counts from when the number has been dialled (section 6.3.10)."""
        self._waiting = None
        self._called = string
        self._timer = now + self._terminal.parameters.wait
        self._terminal.want(Dial(string.text, string.number))

    def answer(self, now: float) -> None:
        """A. Where nobody calls nothing can come of it. WrongWords: there is a call."""
        self._need_no_call()
        if self.state is not State.RINGING:
            self._terminal.say(Result.NO_CARRIER)
            return
        self.state = State.ANSWERING
        self._called = self._begun = DialString()
        self._timer = now + self._terminal.parameters.wait
        self._terminal.want(Answer())

    def resume(self, now: float) -> None:
        """O. WrongWords: there is no call."""
        if self.state is not State.ONLINE_COMMAND:
            raise WrongWords("There is no call")
        if self._lost:
            self.end(Result.NO_CARRIER)
        else:
            self._go_online(now)

    def hang_up(self) -> None:
        """H, which turns away who calls, too. Without a call it does nothing."""
        self.forget_begun()
        if self.state is State.RINGING:
            self._terminal.want(Refuse())
            self._to_command_state()
        elif self.in_call:
            self._let_go()

    def end(self, result: Result) -> None:
        """The call or the attempt ends, for whatever reason but H."""
        self._let_go()
        self._terminal.say(result)

    def _let_go(self) -> None:
        self._release()
        if self._waiting is None:
            self._terminal.want(HangUp())
        self._to_command_state()

    def _release(self) -> None:
        held = self._escape.drop()
        if held:
            self._terminal.want(Send(held))

    def _need_no_call(self) -> None:
        if self.in_call:
            raise WrongWords("There is a call already")

    # The network's side

    @property
    def hearing(self) -> bool:
        """Whether bytes from the far end are shown now."""
        return self.state is State.ONLINE and not self._lost

    def rang(self, now: float) -> None:
        """Somebody calls."""
        if self.state is State.COMMAND:
            self.state = State.RINGING
            self._rings = 0
            self._ring(now)
        else:
            self._terminal.want(Refuse())

    def ring_over(self) -> None:
        """Who called has given up."""
        if self.state is State.RINGING:
            self._to_command_state()

    def connected(self, now: float) -> None:
        """The call that was dialled or answered has come about."""
        if self.attempting and self._waiting is None:
            self._timer = None
            self._terminal.report_rate()
            self._go_online(now)

    def failed(self, failure: Failure) -> None:
        """The call that was dialled or answered has not come about."""
        if self.attempting and self._waiting is None:
            found = failure if self.state is State.DIALLING else Failure.REFUSED
            self._to_command_state()
            self._terminal.say(outcome(found, self._called, self._terminal.parameters))

    def carrier_lost(self, now: float) -> None:
        """The far end has hung up: NO CARRIER follows after S10, and until then what is typed is lost."""
        if self.in_call and not self._lost:
            self._lost = True
            self._escape.drop()
            self._timer = now + self._terminal.parameters.loss / 10
            self.show_carrier()

    def received(self, data: bytes) -> None:
        """Bytes from the far end. In online command state they wait for O."""
        if self.hearing:
            self._terminal.show(data)
        elif self.in_call and not self._lost:
            self._kept += data

    # Both

    def show_carrier(self) -> None:
        """Have the carrier's line follow the call, and &C."""
        up = self._terminal.parameters.carrier == 0 or (self.in_call and not self._lost)
        if up != self.carrier:
            self.carrier = up
            self._terminal.want(Carrier(up))

    def _ring(self, now: float) -> None:
        """RING, and the answer if it is time (sections 6.3.8 and 6.2.9)."""
        parameters = self._terminal.parameters
        self._rings += 1
        self._timer = now + RING_SECONDS
        self._terminal.say(Result.RING)
        allowed = self.terminal_ready or parameters.ready != 2
        if 0 < parameters.answer_rings <= self._rings and allowed:
            self.answer(now)

    def _go_online(self, now: float) -> None:
        self._terminal.say(Result.CONNECT)
        self.state = State.ONLINE
        self._escape.start(now)
        self.show_carrier()
        self._terminal.show(bytes(self._kept))
        self._kept.clear()

    def _to_command_state(self) -> None:
        self.state = State.COMMAND
        self._timer = None
        self._waiting = None
        self._lost = False
        self._kept.clear()
        self.show_carrier()
