"""a far server's bytes -> a client's: line ends, charset, bit 7 and telnet as its settings say.

Bytes that are no text in the far server's charset are taken as Latin-1. What the client's charset lacks is
spelled as in a reply, character by character, so that nothing is held back that could be shown. Controls go
through as they are, since a terminal may know them; CR, LF, CR LF and CR NUL are line ends, other NULs go.
"""

import codecs
import re
from collections.abc import Mapping
from typing import Final, Protocol

from gateway.extract.fields.text import Lettering
from gateway.wire.charsets import SEVEN_BITS, encode_text
from gateway.wire.replies import upper
from gateway.wire.settings import Settings

_CONTROLS: Final = re.compile(r"\r\n|\r\0|[\0-\x1f\x7f]")
_ESCAPED: Final = re.compile("[\udc80-\udcff]")  # bytes that are no text (PEP 383)
_IAC: Final = b"\xff"


class Translation(Protocol):
    """One way of a stream."""

    def feed(self, data: bytes) -> bytes:
        """What goes on of all that has come."""
        ...

    def finish(self) -> bytes:
        """The rest: nothing else comes."""
        ...


class RawToClient:
    """Bytes as they are, but for what the client's line itself wants."""

    def __init__(self, settings: Settings) -> None:
        self._seven = settings.bits == 7
        self._telnet = settings.telnet == "on"

    def feed(self, data: bytes) -> bytes:
        """FFh is doubled where the client has set telnet on."""
        if self._seven:
            return data.translate(SEVEN_BITS)
        return data.replace(_IAC, _IAC * 2) if self._telnet else data

    def finish(self) -> bytes:
        """Nothing is ever held back."""
        return b""


class FarText:
    """A far server's bytes as text, in the charset that `charset` names to Python; LookupError for none."""

    def __init__(self, charset: str) -> None:
        self._decoder = codecs.getincrementaldecoder(charset)("surrogateescape")
        self._after_cr = False

    def feed(self, data: bytes, *, final: bool = False) -> str:
        """All that is whole, each line end as one LF."""
        text = _ESCAPED.sub(lambda match: chr(ord(match[0]) - 0xDC00), self._decoder.decode(data, final))
        if self._after_cr and text:
            text = text[1:] if text[0] in "\n\0" else text
            self._after_cr = False
        if text:
            self._after_cr = text[-1] == "\r"
        return _CONTROLS.sub(_one_end, text)


def _one_end(match: re.Match[str]) -> str:
    found = match[0]
    if found[0] in "\r\n":
        return "\n"
    return "" if found == "\0" else found


class ToClient:
    """Text. `eol` are the bytes that end the client's lines; `charset` is the far server's, by Python's name;
    `letters` are the catalogue's own spellings.
    """

    def __init__(
        self, settings: Settings, eol: bytes, charset: str, letters: Mapping[str, str] | None = None
    ) -> None:
        self._text = FarText(charset)
        self._raw = RawToClient(settings)
        self._eol = eol
        self._lettering = Lettering(settings.printed, letters)
        self._upper = settings.case == "upper"
        self._charset = settings.printed
        self._pieces = re.compile(r"([\0-\x1f\x7f])")

    def feed(self, data: bytes) -> bytes:
        """What can be shown of it, and of what was left before."""
        return self._written(self._text.feed(data))

    def finish(self) -> bytes:
        """A character of which only a part has come."""
        return self._written(self._text.feed(b"", final=True))

    def _written(self, text: str) -> bytes:
        parts = self._pieces.split(text)
        done = b"".join(
            part.encode() if place % 2 and part != "\n" else self._eol if place % 2 else self._spelled(part)
            for place, part in enumerate(parts)
        )
        return self._raw.feed(done)

    def _spelled(self, text: str) -> bytes:
        if not text.isascii():
            text = "".join(map(self._lettering.spell, text))
        elif text:
            text = self._lettering.spell(text)
        return encode_text(upper(text, self._charset) if self._upper else text, self._charset)
