"""What is typed, what the network does, and the time -> effects: the modem itself (V.250).

The network's side keeps to this: after `Dial` or `Answer` it says `connected` or `failed` once, after
`connected` at most once `carrier_lost`, and nothing more of a call after `HangUp` or `Refuse`. `ring_over`
belongs to the call that rings. Whatever comes at another time is ignored, but a further caller is refused.

Times are seconds of one clock that never goes back. Each method is told `now`, first does what has become
due, and returns its effects in order; `at` only does that, and is wanted when `due` has come.
"""

from typing import Final

from adapters.errors import WrongWords
from gateway.modem.calls import Calls, State
from gateway.modem.commands import Act, Ask, Assign, Call, Command, commands
from gateway.modem.editing import Again, CommandEditor, CommandLine
from gateway.modem.effects import Effect
from gateway.modem.extended import extended
from gateway.modem.parameters import Parameters, changed, value_of
from gateway.modem.results import Failure, Result
from gateway.modem.terminal import ModemSettings, Terminal

DEAF_SECONDS: Final = 0.125
"""After the end of a line, when nothing ends what it began: a LF may follow the CR (V.250 section 5.6)."""
_LF: Final = 10
_SEVEN_BITS: Final = 0x7F


class Modem:
    """One modem at one line."""

    def __init__(self, settings: ModemSettings | None = None) -> None:
        self._terminal = Terminal(settings or ModemSettings())
        self._calls = Calls(self._terminal)
        self._editor = CommandEditor()
        self._last = CommandLine()  # for A/: an empty one at first (section 5.2.4)
        self._deaf_until = 0.0
        self._feed_may_follow = False

    @property
    def state(self) -> State:
        """What it is doing."""
        return self._calls.state

    @property
    def parameters(self) -> Parameters:
        """What it is set to."""
        return self._terminal.parameters

    @property
    def carrier(self) -> bool:
        """What the carrier's line (circuit 109) shows; each change is a `Carrier`."""
        return self._calls.carrier

    @property
    def hearing(self) -> bool:
        """Whether bytes from the far end are shown now. Else they should wait where they are: those that come
        during online command state all the same are kept for O, and there is no limit here.
        """
        return self._calls.hearing

    def due(self) -> float | None:
        """When `at` is wanted; None: not before something happens."""
        return self._calls.due()

    def at(self, now: float) -> tuple[Effect, ...]:
        """Time passed."""
        self._calls.run_due(now)
        return self._terminal.taken()

    # From the terminal

    def typed(self, data: bytes, now: float) -> tuple[Effect, ...]:
        """Bytes from the terminal."""
        self._calls.run_due(now)
        place = 0
        while place < len(data) and self.state is not State.ONLINE:
            self._key(data[place] & _SEVEN_BITS, now)
            place += 1
        if place < len(data):
            self._send(data[place:], now)
        return self._terminal.taken()

    def dtr(self, up: bool, now: float) -> tuple[Effect, ...]:
        """The terminal's ready line (circuit 108/2), where a link has one; it counts as up before (&D)."""
        self._calls.run_due(now)
        dropped, self._calls.terminal_ready = self._calls.terminal_ready and not up, up
        ready = self.parameters.ready if dropped else 0
        if ready == 1 and self.state is State.ONLINE:
            self._calls.pause_data()
        elif ready == 2:
            self._editor.clear()
            self._calls.forget_begun()
            if self._calls.in_call or self._calls.attempting:
                self._calls.end(Result.NO_CARRIER)
        return self._terminal.taken()

    def _key(self, character: int, now: float) -> None:
        """A character of seven bits that is no data."""
        self._feed_may_follow = False
        if self._calls.attempting:
            if now >= self._deaf_until:
                self._calls.end(Result.NO_CARRIER)
            return
        echo, line = self._editor.typed(character, self.parameters)
        if self.parameters.echo:
            self._terminal.show(echo)
        if line is not None:
            self._last = self._last if isinstance(line, Again) else line
            self._deaf_until = now + DEAF_SECONDS
            self._feed_may_follow = True
            self._obey(self._last, now)
            self._calls.show_carrier()

    def _send(self, data: bytes, now: float) -> None:
        """Data. A LF that belongs to the end of the line that went online is none."""
        feed = self._feed_may_follow and data[0] & _SEVEN_BITS == _LF and now < self._deaf_until
        self._feed_may_follow = False
        self._calls.send(data[1:] if feed else data, now)

    # From the network

    def rang(self, now: float) -> tuple[Effect, ...]:
        """Somebody calls."""
        self._calls.run_due(now)
        self._calls.rang(now)
        return self._terminal.taken()

    def ring_over(self, now: float) -> tuple[Effect, ...]:
        """Who called has given up."""
        self._calls.run_due(now)
        self._calls.ring_over()
        return self._terminal.taken()

    def connected(self, now: float) -> tuple[Effect, ...]:
        """The call that was dialled or answered has come about."""
        self._calls.run_due(now)
        self._calls.connected(now)
        return self._terminal.taken()

    def failed(self, failure: Failure, now: float) -> tuple[Effect, ...]:
        """The call that was dialled or answered has not come about."""
        self._calls.run_due(now)
        self._calls.failed(failure)
        return self._terminal.taken()

    def carrier_lost(self, now: float) -> tuple[Effect, ...]:
        """The far end has hung up."""
        self._calls.run_due(now)
        self._calls.carrier_lost(now)
        return self._terminal.taken()

    def received(self, data: bytes, now: float) -> tuple[Effect, ...]:
        """Bytes from the far end."""
        self._calls.run_due(now)
        self._calls.received(data)
        return self._terminal.taken()

    # Commands

    def _obey(self, line: CommandLine, now: float) -> None:
        """Run a line up to the first mistake, and say how it went."""
        try:
            done = not line.overlong and all(self._done(each, now) for each in commands(line.body))
        except WrongWords:
            self._terminal.say(Result.ERROR)
            return
        if line.overlong:
            self._terminal.say(Result.ERROR)
        elif done:
            self._terminal.say(Result.OK)

    def _done(self, command: Command, now: float) -> bool:
        """Run a command. False: it ends its line, and what there is to say is said or comes later."""
        terminal = self._terminal
        if isinstance(command, Assign):
            terminal.parameters = changed(terminal.parameters, command.name, command.value)
        elif isinstance(command, Ask):
            terminal.tell(f"{value_of(terminal.parameters, command.name):03}")
        elif isinstance(command, Call):
            return self._calls.dial(command, now)
        elif isinstance(command, Act):
            return self._act(command.name, now)
        else:
            terminal.parameters, text = extended(command, terminal.parameters, terminal.settings.identity)
            if text is not None:
                terminal.tell(text)
        return True

    def _act(self, name: str, now: float) -> bool:
        """P and T make no difference; Z ends its line (section 6.1.1)."""
        if name == "A":
            self._calls.answer(now)
        elif name == "O":
            self._calls.resume(now)
        elif name == "H":
            self._calls.hang_up()
        elif name == "I":
            self._terminal.tell(self._terminal.settings.identity.text)
        elif name == "&F":
            self._terminal.parameters = Parameters()
        elif name == "Z":
            if self._calls.in_call:
                self._calls.hang_up()
            self._calls.forget_begun()
            self._terminal.parameters = self._terminal.settings.parameters
            self._terminal.say(Result.OK)
        return name not in {"A", "O", "Z"}
