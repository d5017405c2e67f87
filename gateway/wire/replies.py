"""Reply -> lines of bytes: one status line of 16 characters, then its records (CONTRACT section 2)."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, TypeAlias

from adapters import limits
from adapters.errors import AskedTooOften, FarBusy, HeadraceError
from gateway.wire.charsets import SEVEN_BITS, encode_text, has
from gateway.wire.checks import digits
from gateway.wire.settings import Settings

Lines: TypeAlias = Iterator[bytes]
"""What goes to a client: each item is a line with its end, or a slice of bare bytes."""

_SLICE: Final = 8_192  # bare bytes handed over at a time
_GUARD: Final = str.maketrans({",": ";", ":": ".", '"': "'"})


@dataclass(frozen=True, slots=True)
class Reply:
    """One reply, laid out and not yet finished: `records` get their mark and guard when they are sent.

    `records` are each `width` characters before mark and check; `settings` are those that they are finished
    by, so that a page that is repeated has the same bytes. `flag` is column 16: `*` `S` `L` `C` or `.`;
    `more` is column 15; `close` ends the connection after it. `exact`: neither guard nor capitals, for
    digits that a colon belongs to, and for refs. `raw`: bare bytes in the place of records, each counted as
    one.
    """

    code: int
    settings: Settings
    records: Sequence[str] = ()
    width: int = 0
    more: bool = False
    flag: str = "."
    close: bool = False
    exact: bool = False
    raw: bytes | None = None

    @property
    def status_line(self) -> str:
        """The 16 characters of the first line."""
        count = len(self.records if self.raw is None else self.raw)
        width = 0 if not count else 1 if self.raw is not None else self.width + self.settings.added
        return f"{self.code:03d} {count:05d} {width:03d} {'+' if self.more else '.'}{self.flag}"


def finish(text: str, settings: Settings, exact: bool = False) -> str:
    """A laid-out record as the client's machine wants it; `mark` adds one column, nothing else does.

    `exact` as in `Reply`.
    """
    if settings.guard and not exact:
        text = text.translate(_GUARD)
    if settings.case == "upper" and not exact:
        text = upper(text, settings.printed)
    return "!" + text if settings.mark else text


def upper(text: str, charset: str) -> str:
    """Capitals, one for one: a letter whose capital is longer or not in the charset stays."""
    if text.isascii():
        return text.upper()
    return "".join(_capital(character, charset) for character in text)


def _capital(character: str, charset: str) -> str:
    capital = character.upper()
    if len(capital) != 1 or (not capital.isascii() and not has(capital, charset)):
        return character
    return capital


def encode_lines(
    reply: Reply, eol: bytes, escape_iac: bool, start: int = 0, stop: int | None = None
) -> Iterator[bytes]:
    """Each line's bytes, its end included, as they are wanted: a reply may have 99,999 of them.

    Line 0 is the status line; `start` and `stop` choose from the lines as a slice does. `escape_iac` doubles
    FFh for a client that speaks telnet; in bare bytes, which count as one line, follow the status line in
    slices and have no ends, only where the setting says so itself.
    """
    settings = reply.settings
    encode = _encoder(settings)
    escape = escape_iac and settings.printed != "ascii"
    if start == 0 and stop != 0:
        data = encode(reply.status_line)
        yield (data.replace(b"\xff", b"\xff\xff") if escape else data) + eol
    first = max(start - 1, 0)
    last = None if stop is None else max(stop - 1, 0)
    if reply.raw is not None:
        if first == 0 and last != 0:
            yield from _bare(reply.raw, settings)
        return
    plain = not (settings.guard or settings.mark or settings.case == "upper")
    for record in _some(reply.records, first, last):
        data = encode(record if plain else finish(record, settings, reply.exact))
        yield (data.replace(b"\xff", b"\xff\xff") if escape else data) + eol


def _some(records: Sequence[str], first: int, last: int | None) -> Iterable[str]:
    """The records from `first` up to `last`, without walking through those before and without a copy."""
    if first == 0 and last is None:
        return records
    return (
        records[index] for index in range(first, min(len(records), len(records) if last is None else last))
    )


def _encoder(settings: Settings) -> Callable[[str], bytes]:
    """What makes a finished line's bytes, the check's digits at their end."""
    charset, check = settings.printed, settings.check
    if check == "none":
        if charset == "ascii":
            return partial(str.encode, encoding="ascii", errors="replace")
        return partial(encode_text, charset=charset)

    def encode(text: str) -> bytes:
        data = encode_text(text, charset)
        return data + encode_text(digits(data, check), charset)

    return encode


def _bare(data: bytes, settings: Settings) -> Iterator[bytes]:
    for start in range(0, len(data), _SLICE):
        part = data[start : start + _SLICE]
        if settings.bits == 7:
            part = part.translate(SEVEN_BITS)
        yield part.replace(b"\xff", b"\xff\xff") if settings.telnet == "on" else part


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
    return Reply(error.code, settings, (text,), width, close=close)
