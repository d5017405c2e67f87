"""Reply -> lines of bytes: one status line of 16 characters, then its records (CONTRACT section 2)."""

from dataclasses import dataclass
from typing import Final

from adapters import limits
from adapters.errors import AskedTooOften, FarBusy, HeadraceError
from gateway.wire.charsets import encode_text
from gateway.wire.settings import Settings

EOLS: Final = {"crlf": b"\r\n", "cr": b"\r", "lf": b"\n", "9b": b"\x9b", "none": b""}

_GUARD: Final = str.maketrans({",": ";", ":": ".", '"': "'"})


@dataclass(frozen=True, slots=True)
class Reply:
    """One reply: `records` are finished (see `finish`) and each exactly `width` characters.

    `flag` is column 16: `*` `S` `L` `C` or `.`; `more` is column 15; `close` ends the connection after it.
    """

    code: int
    records: tuple[str, ...] = ()
    width: int = 0
    more: bool = False
    flag: str = "."
    close: bool = False

    @property
    def status_line(self) -> str:
        """The 16 characters of the first line."""
        count = len(self.records)
        width = self.width if count else 0
        return f"{self.code:03d} {count:05d} {width:03d} {'+' if self.more else '.'}{self.flag}"


def finish(text: str, settings: Settings) -> str:
    """A laid-out record as the client's machine wants it; `mark` adds one column, nothing else does."""
    if settings.guard:
        text = text.translate(_GUARD)
    if settings.case == "upper":
        text = upper(text, settings.printed)
    return "!" + text if settings.mark else text


def upper(text: str, charset: str) -> str:
    """Capitals, one for one: a letter whose capital is longer or not in the charset stays."""
    if text.isascii():
        return text.upper()
    return "".join(_capital(character, charset) for character in text)


def _capital(character: str, charset: str) -> str:
    capital = character.upper()
    if len(capital) != 1 or (not capital.isascii() and encode_text(capital, charset) == b"?"):
        return character
    return capital


def encode_lines(reply: Reply, settings: Settings, eol: bytes, escape_iac: bool) -> list[bytes]:
    """Each line's bytes, its end included. `escape_iac` doubles FFh for a client that speaks telnet."""
    lines = [reply.status_line.encode("ascii") + eol]
    if settings.printed == "ascii":
        lines.extend(record.encode("ascii", "replace") + eol for record in reply.records)
        return lines
    for record in reply.records:
        data = encode_text(record, settings.charset)
        if escape_iac:
            data = data.replace(b"\xff", b"\xff\xff")
        lines.append(data + eol)
    return lines


def error_reply(error: HeadraceError, settings: Settings, close: bool = False) -> Reply:
    """The one-record reply that an error gets; a known wait stands at the record's very end."""
    width = settings.cols - settings.mark
    sentence = "".join(each if " " <= each <= "~" else "?" for each in error.sentence)
    seconds = error.seconds if isinstance(error, (AskedTooOften, FarBusy)) else None
    if seconds is None:
        text = sentence[:width].ljust(width)
    else:
        number = str(min(seconds, limits.RETRY_SECONDS))
        room = width - len(number) - 1
        text = f"{sentence[:room].ljust(room)} {number}"
    return Reply(error.code, (finish(text, settings),), settings.cols, close=close)
