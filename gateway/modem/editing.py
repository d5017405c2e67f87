"""Characters in command state -> command lines, and what is echoed (V.250 section 5.2).

`AT` or `at` is looked for wherever it stands in a line, so that noise before it does no harm; both letters
have one case (section 5.2.1). What has no such prefix is dropped at its end. `A/` and `a/` act at once, but
only where a line begins, or prose such as `n/a/b` would dial again. The prefix cannot be rubbed out.
"""

from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.modem.parameters import Parameters

_BLANK: Final = 0x20
_LAST_PRINTABLE: Final = 0x7E
_PREFIXES: Final = (b"AT", b"at")
_AGAIN: Final = (b"A/", b"a/")


@dataclass(frozen=True, slots=True)
class CommandLine:
    """What stood behind the prefix. `overlong`: with too many characters, so that nothing of it is to run."""

    body: str = ""
    overlong: bool = False


@dataclass(frozen=True, slots=True)
class Again:
    """The last line once more. Nothing ends it."""


class CommandEditor:
    """The line being typed."""

    def __init__(self) -> None:
        self._before = bytearray()  # what came before a prefix: its last two characters count
        self._body: bytearray | None = None
        self._excess = 0

    def clear(self) -> None:
        """Forget what was typed of a line."""
        self._before.clear()
        self._body = None
        self._excess = 0

    def typed(self, character: int, parameters: Parameters) -> tuple[bytes, CommandLine | Again | None]:
        """What to echo of a character of seven bits, and what it completes.

        The end is looked for first, then rubbing out (section 5.2.2); other control characters are ignored.
        """
        echo = bytes((character,))
        if character == parameters.end:
            return echo, self._ended()
        if character == parameters.rubout:
            return (echo + b" " + echo if self._rubbed_out() else b""), None
        if not _BLANK <= character <= _LAST_PRINTABLE:
            return b"", None
        if self._body is None:
            return echo, self._hunted(character)
        if len(self._body) < limits.MODEM_LINE_CHARACTERS:
            self._body.append(character)
        else:
            self._excess += 1
        return echo, None

    def _ended(self) -> CommandLine | None:
        body, excess = self._body, self._excess
        self.clear()
        return None if body is None else CommandLine(body.decode("ascii"), excess > 0)

    def _rubbed_out(self) -> bool:
        if self._excess:
            self._excess -= 1
            return True
        line = self._before if self._body is None else self._body
        return bool(line) and line.pop() >= 0

    def _hunted(self, character: int) -> Again | None:
        self._before.append(character)
        if bytes(self._before) in _AGAIN:
            self.clear()
            return Again()
        if self._before.endswith(_PREFIXES):
            self._body = bytearray()
        del self._before[: -limits.MODEM_LINE_CHARACTERS]
        return None
