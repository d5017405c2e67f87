"""line with its check -> line without: what a client on a noisy line sends (CONTRACT section 5, `check`)."""

from dataclasses import replace

from adapters.errors import NotARequest
from gateway.wire.checks import value_so_far, without_check
from gateway.wire.lines import Data, Line


class LineChecks:
    """The checks of one connection's lines. `begun`: a line with a check has come; all others need one."""

    def __init__(self) -> None:
        self.begun = False
        self._so_far: tuple[int, ...] = ()  # of a data line that has come in part

    def take(self, piece: Data, kind: str) -> None:
        """The next piece of a data line whose end has not come."""
        prompt = len(piece.sent) - len(piece.data) > 1  # it is off, as the > is
        self._so_far = value_so_far(piece.sent, kind, self._so_far, prompt=prompt)

    def forget(self) -> None:
        """A line that has come in part has no end."""
        self._so_far = ()

    def without(self, line: Line, kind: str) -> Line:
        """The line without its check, which is of that kind.

        NotARequest: a wrong check, or none where the client has begun to send them.
        """
        before, self._so_far = self._so_far, ()
        if kind == "none" or line.overlong:
            return line
        text = without_check(line.data, kind, line.sent, before)
        if text is None and self.begun:
            raise NotARequest("The line has no check")
        if text is None:
            return line
        self.begun = True
        return replace(line, data=text)
