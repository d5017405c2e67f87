"""bytes from a telnet server -> text and answers, and text -> bytes for it (RFC 854 to 858, 1073, 1091).

No I/O and no clock: answers are collected for whoever sends them. The client's end is a network virtual
terminal that begins nothing by itself, so that a server which is none gets no byte that its client did not
send. It lets the far end echo, suppresses go-ahead either way, takes binary either way, and tells the
terminal's size and kind to who asks; every other option is refused.

Text has eight bits in any case; but some servers strip the eighth of what is typed unless binary is agreed
on, which is why it is. A CR is then a byte like others, and a CR LF may count as two ends of a line: a
terminal's return key is a CR. An FFh before what is no command counts as itself, as from a server that does
not know telnet.
"""

import re
from enum import Enum
from typing import Final

from adapters import limits
from adapters.stream.options import Options, Side
from adapters.streams import Terminal

SE, NOP, AYT, SB, WILL, WONT, DO, DONT, IAC = 240, 241, 246, 250, 251, 252, 253, 254, 255  # RFC 854
BINARY, ECHO, SUPPRESS_GO_AHEAD, TERMINAL_TYPE, WINDOW_SIZE = 0, 1, 3, 24, 31  # RFC 856, 857, 858, 1091, 1073
IS, SEND = 0, 1  # RFC 1091

_ESCAPE: Final = bytes((IAC,))
_CR, _LF, _NUL = b"\r", b"\n", b"\0"
_MOST: Final = 65_535  # columns or rows: what 16 bits hold (RFC 1073)
_BARE_CR: Final = re.compile(rb"\r(?=[^\n])")  # but not the last byte, behind which a LF may come

_HEARD: Final = {
    WILL: (Side.FAR, True),
    WONT: (Side.FAR, False),
    DO: (Side.OURS, True),
    DONT: (Side.OURS, False),
}
_SAID: Final = {meaning: verb for verb, meaning in _HEARD.items()}
_OTHER: Final = {Side.FAR: Side.OURS, Side.OURS: Side.FAR}  # whose ours and far are the far end's
_AGREED: Final = (
    (Side.FAR, ECHO),
    (Side.FAR, SUPPRESS_GO_AHEAD),
    (Side.FAR, BINARY),
    (Side.OURS, SUPPRESS_GO_AHEAD),
    (Side.OURS, BINARY),
    (Side.OURS, WINDOW_SIZE),
    (Side.OURS, TERMINAL_TYPE),
)


class _Place(Enum):
    """Where in a command the next byte stands."""

    TEXT = 0
    COMMAND = 1  # after IAC
    OPTION = 2  # after IAC WILL, WONT, DO or DONT
    BLOCK = 3  # between IAC SB and IAC SE
    BLOCK_COMMAND = 4  # after IAC inside such a block


class Telnet:
    """One connection's both ways. `kinds` are the terminal's names, the best first."""

    def __init__(self, terminal: Terminal, kinds: tuple[str, ...] = ()) -> None:
        self.options = Options(_AGREED)
        self._size = terminal.columns, terminal.rows
        self._kinds = tuple(_kind(each) for each in kinds or (terminal.kind,))
        self._next_kind = 0
        self._place = _Place.TEXT
        self._verb = 0
        self._block = bytearray()
        self._after_cr = False  # the far end's last byte of text was a CR
        self._owes = False  # the last byte sent was a CR, and what goes with it is open
        self._answers = bytearray()

    @property
    def owes(self) -> bool:
        """Whether a CR was sent whose LF or NUL is still to come (see `settle`)."""
        return self._owes

    def answers(self) -> bytes:
        """What is to be sent because of what came, once; never more than a few times as long as that."""
        taken = bytes(self._answers)
        self._answers.clear()
        return taken

    def receive(self, data: bytes) -> bytes:
        """The text in the next bytes of the far end; commands are taken out and acted upon."""
        text = bytearray()
        position = 0
        while position < len(data):
            if self._place is _Place.TEXT:
                end = data.find(IAC, position)
                end = len(data) if end < 0 else end
                self._take_text(data[position:end], text)
                position = end
                if end < len(data):
                    self._place = _Place.COMMAND
                    position += 1
            elif self._place is _Place.BLOCK:
                end = data.find(IAC, position)
                end = len(data) if end < 0 else end
                self._block += data[position:end][: limits.TELNET_BLOCK_BYTES - len(self._block)]
                position = end
                if end < len(data):
                    self._place = _Place.BLOCK_COMMAND
                    position += 1
            else:
                self._take(data[position], text)
                position += 1
        return bytes(text)

    def send(self, data: bytes) -> bytes:
        """The bytes that carry a piece of text. A CR that ends it goes at once and leaves something owed."""
        if not data:
            return b""
        data = data.replace(_ESCAPE, _ESCAPE * 2)
        if self.options.on(Side.OURS, BINARY):
            return self.settle() + data
        start = _NUL if self._owes and not data.startswith(_LF) else b""
        self._owes = data.endswith(_CR)
        return start + _BARE_CR.sub(_CR + _NUL, data)

    def settle(self) -> bytes:
        """The NUL that a CR is owed where no LF came behind it (RFC 854), or nothing.

        To be asked for soon: some servers wait for it. Not at once: what comes from a slow line in two pieces
        may be a CR LF, and a line's end is not to depend on that.
        """
        owed, self._owes = self._owes, False
        return _NUL if owed else b""

    def _take(self, byte: int, text: bytearray) -> None:
        place, self._place = self._place, _Place.TEXT
        if place is _Place.COMMAND:
            self._command(byte, text)
        elif place is _Place.OPTION:
            self._option(byte)
        elif byte == SE:
            self._block_ended()
        else:
            self._place = _Place.BLOCK
            if byte == IAC and len(self._block) < limits.TELNET_BLOCK_BYTES:
                self._block.append(IAC)

    def _take_text(self, data: bytes, text: bytearray) -> None:
        if self.options.on(Side.FAR, BINARY):
            self._after_cr = False
        elif data:
            if self._after_cr:
                data = data.removeprefix(_NUL)
            self._after_cr = data.endswith(_CR)
            data = data.replace(_CR + _NUL, _CR)
        text += data

    def _command(self, byte: int, text: bytearray) -> None:
        if byte in _HEARD:
            self._place, self._verb = _Place.OPTION, byte
        elif byte == SB:
            self._place = _Place.BLOCK
            self._block.clear()
        elif byte == IAC:
            self._take_text(_ESCAPE, text)
        elif byte == AYT:
            self._answers += bytes((IAC, NOP))  # a sign of life that is no text of the client's
        elif byte < SE:
            self._take_text(bytes((IAC, byte)), text)

    def _option(self, option: int) -> None:
        side, yes = _HEARD[self._verb]
        answer = self.options.hear(side, option, yes=yes)
        if answer is None:
            return
        self._answers += bytes((IAC, _SAID[_OTHER[side], answer], option))
        if side is Side.OURS and answer and option == WINDOW_SIZE:
            size = b"".join(min(each, _MOST).to_bytes(2, "big") for each in self._size)
            self._say_block(WINDOW_SIZE, size)
        elif side is Side.OURS and option == TERMINAL_TYPE:
            self._next_kind = 0

    def _block_ended(self) -> None:
        wanted = bytes((TERMINAL_TYPE, SEND))
        if self._block.startswith(wanted) and self.options.on(Side.OURS, TERMINAL_TYPE):
            # The last name comes twice, which tells that it is the last; then all begins anew.
            kind = self._kinds[min(self._next_kind, len(self._kinds) - 1)]
            self._next_kind = (self._next_kind + 1) % (len(self._kinds) + 1)
            self._say_block(TERMINAL_TYPE, bytes((IS,)) + kind)
        self._block.clear()

    def _say_block(self, option: int, content: bytes) -> None:
        doubled = content.replace(_ESCAPE, _ESCAPE * 2)
        self._answers += bytes((IAC, SB, option)) + doubled + bytes((IAC, SE))


def _kind(name: str) -> bytes:
    """A terminal's name as RFC 1091 has it, or the one that it has for terminals without a name."""
    fit = "".join(each for each in name if "!" <= each <= "~")[: limits.TERMINAL_KIND]
    return (fit or "UNKNOWN").encode("ascii")
