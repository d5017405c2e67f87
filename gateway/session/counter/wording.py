"""sentences, records -> the bytes of lines that a client at the counter sees."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from gateway.extract.texts.wrapping import wrapped
from gateway.session.counter.commands import Blocks
from gateway.wire.charsets import encode_text
from gateway.wire.lines import EOLS
from gateway.wire.replies import upper
from gateway.wire.settings import Settings

PIECE_BYTES: Final = 2_048
"""Of lines that are said in one go, behind which a CAN is looked for."""

HELP: Final = (
    "LIST [folder]  what is in it",
    "BASE [folder]  go there, or back",
    "TEXT name      read it on the screen",
    "READ name      have it sent by YMODEM",
    "READ name xmodem  the same by XMODEM",
    "STORE          send any with YMODEM",
    "STORE name     send one with YMODEM",
    "STORE name xmodem  the same by XMODEM",
    "BYE            hang up",
    "#3 is entry 3 of the last LIST. Three letters of a word are enough.",
    "CAN (control X) drops a line or stops a text; two of them end a transfer.",
)


class Writing:
    """How one client's lines are written. `settings` are its own; `eol` of them is no `mirror`."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.eol = EOLS[settings.eol]

    def sentence(self, text: str) -> bytes:
        """A sentence over as many lines as it needs."""
        return b"".join(self._line(each) for each in wrapped(text, self._settings.cols))

    def prompt(self) -> bytes:
        """What is shown when it is the client's turn."""
        return encode_text("> ", self._settings.printed)

    def pieces(self, records: Iterable[str]) -> Iterator[bytes]:
        """Records that fit into the client's columns, a piece at a time; blanks at their ends go."""
        piece = bytearray()
        for each in records:
            piece += self._line(each.rstrip(" "))
            if len(piece) >= PIECE_BYTES:
                yield bytes(piece)
                piece.clear()
        if piece:
            yield bytes(piece)

    def _line(self, text: str) -> bytes:
        if self._settings.case == "upper":
            text = upper(text, self._settings.printed)
        return encode_text(text, self._settings.printed) + self.eol


def greeting(place: str, *, writable: bool) -> str:
    """The first line."""
    can = "read and store" if writable else "read"
    return f"This is {place}. You can {can} here; HELP tells how."


def begin(name: str, blocks: Blocks, *, receive: bool) -> Sequence[str]:
    """That the client is to start its part now."""
    verb = "receiving" if receive else "sending"
    return (f"{blocks.value}: start {verb} {name} now.", "Control X twice gives up.")


def counted(size: int) -> str:
    """A number of bytes."""
    return "1 byte" if size == 1 else f"{size} bytes"
