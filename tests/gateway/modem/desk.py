"""A modem with its terminal and network at hand, for tests: what is shown gathers, and the rest is listed."""

from collections.abc import Iterable

from gateway.modem.calls import State
from gateway.modem.effects import Effect, Send, Show
from gateway.modem.extended import Identity
from gateway.modem.modem import Modem
from gateway.modem.parameters import Parameters
from gateway.modem.results import Failure
from gateway.modem.terminal import ModemSettings

SETTINGS = ModemSettings(Identity(9_600, "1.2"))


def merged(effects: Iterable[Effect]) -> list[Effect]:
    """The effects with bytes that follow bytes to the same end put together."""
    found: list[Effect] = []
    for effect in effects:
        last = found[-1] if found else None
        if isinstance(effect, Show) and isinstance(last, Show):
            found[-1] = Show(last.data + effect.data)
        elif isinstance(effect, Send) and isinstance(last, Send):
            found[-1] = Send(last.data + effect.data)
        else:
            found.append(effect)
    return found


class Desk:
    """The modem, the time, and what it did since it was asked last. Without echo unless `echo` is 1."""

    def __init__(self, echo: int = 0, parameters: Parameters | None = None, now: float = 100.0) -> None:
        self.modem = Modem(ModemSettings(SETTINGS.identity, parameters or Parameters(echo=echo)))
        self.now = now
        self._effects: list[Effect] = []

    def doing(self) -> State:
        return self.modem.state

    def hears(self) -> bool:
        return self.modem.hearing

    def type(self, *pieces: bytes) -> "Desk":
        for piece in pieces:
            self._effects += self.modem.typed(piece, self.now)
        return self

    def wait(self, seconds: float) -> "Desk":
        """Let time pass as a service would: `at` is called whenever something is due, and not else."""
        until = self.now + seconds
        while (due := self.modem.due()) is not None and due <= until:
            self.now = max(self.now, due)
            self._effects += self.modem.at(self.now)
        self.now = until
        return self

    def rang(self) -> "Desk":
        self._effects += self.modem.rang(self.now)
        return self

    def ring_over(self) -> "Desk":
        self._effects += self.modem.ring_over(self.now)
        return self

    def connected(self) -> "Desk":
        self._effects += self.modem.connected(self.now)
        return self

    def failed(self, failure: Failure = Failure.REFUSED) -> "Desk":
        self._effects += self.modem.failed(failure, self.now)
        return self

    def lost(self) -> "Desk":
        self._effects += self.modem.carrier_lost(self.now)
        return self

    def received(self, data: bytes) -> "Desk":
        self._effects += self.modem.received(data, self.now)
        return self

    def dtr(self, up: bool) -> "Desk":
        self._effects += self.modem.dtr(up, self.now)
        return self

    def done(self) -> list[Effect]:
        effects, self._effects = merged(self._effects), []
        return effects

    def shown(self) -> bytes:
        return b"".join(effect.data for effect in self.done() if isinstance(effect, Show))

    def online(self) -> "Desk":
        """A call from here, with everything before it forgotten."""
        self.type(b"ATDharbour\r").wait(1).connected().done()
        assert self.doing() is State.ONLINE
        return self

    def paused(self) -> "Desk":
        """The same in online command state."""
        self.online().wait(1).type(b"+++").wait(1).done()
        assert self.doing() is State.ONLINE_COMMAND
        return self
