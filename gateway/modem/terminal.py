"""Results, texts and data -> effects, in the form that the parameters ask for: what the terminal is shown."""

from dataclasses import dataclass, field

from gateway.modem.effects import Effect, Show
from gateway.modem.extended import Identity
from gateway.modem.parameters import Parameters
from gateway.modem.results import Result, report_bytes, result_bytes, text_bytes


@dataclass(frozen=True, slots=True)
class ModemSettings:
    """What a modem is, and the parameters that it begins with and that Z brings back."""

    identity: Identity = field(default_factory=Identity)
    parameters: Parameters = field(default_factory=Parameters)


class Terminal:
    """Effects gathered for whoever asked, and the parameters that say how things are shown."""

    def __init__(self, settings: ModemSettings) -> None:
        self.settings = settings
        self.parameters = settings.parameters
        self._effects: list[Effect] = []
        self._shown = bytearray()  # since the last effect: a `Show` when another follows

    def want(self, effect: Effect) -> None:
        """Have something done."""
        self._flush()
        self._effects.append(effect)

    def taken(self) -> tuple[Effect, ...]:
        """The effects since it was asked last."""
        self._flush()
        effects, self._effects = tuple(self._effects), []
        return effects

    def show(self, data: bytes) -> None:
        """Show bytes as they are."""
        self._shown += data

    def say(self, result: Result) -> None:
        """Show a result code."""
        self.show(result_bytes(result, self.parameters, self.settings.identity.speed))

    def tell(self, text: str) -> None:
        """Show information text."""
        self.show(text_bytes(text, self.parameters))

    def report_rate(self) -> None:
        """Show the speed before CONNECT, where +ILRR asks for it (V.250 section 6.2.13)."""
        if self.parameters.rate_report:
            self.show(report_bytes(f"+ILRR: {self.settings.identity.speed}", self.parameters))

    def _flush(self) -> None:
        if self._shown:
            self._effects.append(Show(bytes(self._shown)))
            self._shown.clear()
