"""a new line's first bytes -> whether AGAIN takes up a lost line (CONTRACT section 5, resume).

Nobody knows yet who is calling: the machine whose line was lost, which still speaks as that line was set
(bits, charset, checks), or one that starts afresh. So the bytes are read both ways at once, by the new
line's own reader and by one like the lost line's, until the first request tells.
"""

from collections.abc import Callable
from typing import Final

from adapters.errors import HeadraceError, NotARequest
from gateway.session.checking import LineChecks
from gateway.session.conversation import Session
from gateway.session.requests import request_text
from gateway.wire.lines import Event, Line, LineReader
from gateway.wire.settings import Settings
from gateway.wire.words import request_word

_UNDECIDED: Final = frozenset({"", "AGAIN", "MORE"})
"""Lines that start nothing afresh: noise, and what could only go on with a page."""


def request_name(line: Line, settings: Settings) -> str:
    """The request that a line asks for, whatever is wrong with its words; empty where it is none."""
    if line.overlong or line.continued:
        return ""
    try:
        return request_word(request_text(line, settings.charset)[1]).name
    except HeadraceError:
        return ""


def starts_afresh(event: Event | None, settings: Settings) -> bool:
    """Whether it is a request that gives up what a lost line has left: any but AGAIN, and MORE, which can
    only be a slip for it. Noise is none, a line with a wrong check neither.
    """
    if not isinstance(event, Line):
        return False
    try:
        LineChecks().without(event, settings.check)
    except NotARequest:
        return False
    return request_name(event, settings) not in _UNDECIDED


def is_again(event: Event | None, settings: Settings) -> bool:
    """Whether it is an AGAIN, whatever is wrong with its words or its check."""
    return isinstance(event, Line) and request_name(event, settings) == "AGAIN"


class Arrival:
    """One new line whose first request has not come yet. `lost` gives the session that could be taken up."""

    def __init__(self, lost: Callable[[], Session | None]) -> None:
        self._lost = lost
        self._settings: Settings | None = None  # of the session that `reader` is for
        self._session: Session | None = None
        self._found: tuple[Line, int] | None = None  # AGAIN, and how many bytes are behind it
        self.reader: LineReader | None = None

    def feed(self, data: bytes, pending: int) -> None:
        """Bytes came; `pending` of those before them have not been looked at by the new line's reader."""
        session = self._lost()
        if not pending and (
            session is not self._session or (session and session.reader.settings is not self._settings)
        ):
            self._session, self._found = session, None
            self.reader = None if session is None else session.reader.reconnected()
            self._settings = None if session is None else session.reader.settings
        if self.reader is not None:
            self.reader.feed(data)

    def again(self, pending: int) -> Line | None:
        """The AGAIN that ended before the last `pending` bytes, as the lost line would have read it; `reader`
        stands behind it then. A wrong check, or none, is for the session that is taken up to judge.
        """
        reader = self.reader
        if reader is None:
            return None
        while self._found is None and reader.pending > pending:
            event = reader.next_event()
            reader.take_output()
            if isinstance(event, Line) and is_again(event, reader.settings):
                self._found = (event, reader.pending)
        if self._found is None or self._found[1] < pending:
            return None
        line, self._found = self._found[0], None
        return line
