"""replies -> the lines that go to one client next: its line end, and the window that it is waited for in."""

from collections.abc import Sequence

from adapters.errors import WrongMoment, WrongWords
from gateway.session.memory import Weights
from gateway.session.pages import check_raw_bytes
from gateway.session.state import State
from gateway.session.windows import Window, rest_of
from gateway.wire.lines import EOLS, End, Line, LineReader
from gateway.wire.replies import Lines, Reply, encode_lines


class Outgoing:
    """One connection's way out. `reader` tells whether the client speaks telnet; `window` waits for an empty
    line; `status_shown` is the last reply's status line, for the log. `sent`: a reply is being sent.
    """

    def __init__(self, state: State, reader: LineReader) -> None:
        self.reader = reader
        self.window: Window | None = None
        self.status_shown = ""
        self.sent = False
        self._state = state
        self._mirror = "crlf"
        self._nine_b = False
        self._eol = b""
        self.choose_eol()

    @property
    def busy(self) -> bool:
        """Whether something is on its way, or waits to be."""
        return self.sent or self.window is not None

    @property
    def kept(self) -> Weights:
        """What is kept in memory of replies and listings."""
        return self._state.kept

    def forget(self) -> None:
        """Memory is wanted for others."""
        self.window = None
        self._state.forget_replies()

    def choose_eol(self, line: Line | None = None) -> None:
        """The line end from now on: as set, or 9Bh for a client whose `line` ended in it."""
        setting = self._state.settings.eol
        if line is not None:
            self._mirror = line.mirror
            self._nine_b = line.end is End.NINE_B
        if self._nine_b and not self._state.eol_typed and self._state.settings.bits == 8:
            setting = "9b"
        elif setting == "mirror":
            setting = self._mirror
        self._state.eol = setting
        self._eol = EOLS[setting]

    @property
    def eol(self) -> bytes:
        """What ends each line."""
        return self._eol

    def lines(self, reply: Reply) -> Lines:
        """The lines of a reply that may go out now; what is left waits in the window."""
        size = self._state.settings.window
        if not size or reply.close:
            return self.whole(reply)
        self.window = Window(reply, size, self._eol, self._escapes)
        self.status_shown = reply.status_line
        return self.window.lines()

    def whole(self, reply: Reply) -> Lines:
        """All lines of a reply that waits for nothing: the window stays what it was."""
        self.status_shown = reply.status_line
        return encode_lines(reply, self._eol, self._escapes)

    def acknowledged(self) -> Window | None:
        """An empty line came: on with the reply that waits for it."""
        if self.window is not None and not self.window.advance():
            self.window = None
        return self.window

    def again(self, words: Sequence[str]) -> Reply | Window:
        """AGAIN [n]: what the window shows, or the last page; or its record n, with a window all from there.

        A number means the last page's record: what is waited for may be another reply, or an error.
        """
        if len(words) > 1:
            raise WrongWords("Wanted: AGAIN [n]")
        window, cursor = self.window, self._state.cursor
        if window is not None and not words:
            if cursor is not None and window.page is cursor.again(None):
                self.accounted(window.page)
            return window
        number = words[0] if words else None
        if cursor is not None and (number is None or not self._state.settings.window):
            return self.accounted(cursor.again(number))
        if cursor is not None:
            page = self.accounted(cursor.again(None))
        elif window is not None and not window.failed:
            page = window.page
        else:
            raise WrongMoment("No page to repeat")
        assert number is not None
        size = self._state.settings.window
        self.window = Window(rest_of(page, number), size, self._eol, self._escapes, page)
        return self.window

    def accounted(self, reply: Reply) -> Reply:
        """A page of records that were fetched before: WHY still tells where from, and which they are."""
        cursor = self._state.cursor
        assert cursor is not None  # whose page it is
        if reply.raw is not None:
            check_raw_bytes(self._state.settings)
        position = [("PAGE", f"records {cursor.position}")] if cursor.position else []
        self._state.account(cursor.account, position)
        return reply

    @property
    def _escapes(self) -> bool:
        telnet = self._state.settings.telnet
        return telnet == "on" or (telnet == "auto" and self.reader.negotiated)
