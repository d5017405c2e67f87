"""a client's bytes in a raw stream -> a far server's: bit 7, telnet, line ends and charset.

What is typed is read as in a request, but nothing is rubbed out here: 08h and 7Fh go on, and so do all other
controls but NUL.
"""

import re
from typing import Final

from gateway.wire.charsets import SEVEN_BITS, find_charset
from gateway.wire.settings import Settings
from gateway.wire.tables.charset import UNDEFINED
from gateway.wire.telnet import Negotiation

_ENDS: Final = re.compile("[\r\n\x9b]")
_UNKNOWN: Final = "?"
_MOST: Final = 1 << 62  # bytes wanted at a time: all


class FromClient:
    """What the client's line adds is taken off: bit 7, and telnet where it has set that on. Refusals of its
    negotiation are owed to it in `output`.
    """

    def __init__(self, settings: Settings) -> None:
        self.output = bytearray()
        self._seven = settings.bits == 7
        self._telnet = Negotiation(self.output) if settings.telnet == "on" and not self._seven else None

    def feed(self, data: bytes) -> bytes:
        """The bytes that were meant."""
        if self._seven:
            return data.translate(SEVEN_BITS)
        if self._telnet is None:
            return data
        pending, plain, position = bytearray(data), bytearray(), 0
        while position < len(pending):
            position = self._telnet.strip(pending, position, _MOST, plain)
        return bytes(plain)


class ToFar:
    """Text. `eol` are the bytes that end the far server's lines; `charset` is its own, by Python's name."""

    def __init__(self, settings: Settings, eol: bytes, charset: str) -> None:
        found = find_charset(settings.charset)
        nine_b = settings.charset == "ascii" and settings.bits == 8
        self._characters = "".join(
            chr(code) if code < 0x20 or code == 0x7F else _UNKNOWN if each == UNDEFINED else each
            for code, each in enumerate(found.characters)
        )
        if nine_b:
            self._characters = self._characters[:0x9B] + "\x9b" + self._characters[0x9C:]
        self._ends = _ENDS if nine_b else re.compile("[\r\n]")
        self._eol, self._charset = eol, charset
        self._swallow = ""

    def feed(self, data: bytes) -> bytes:
        """All of it, in the far server's own form."""
        text = "".join([self._characters[byte] for byte in data])
        done, start = bytearray(), 0
        while start < len(text):
            if self._swallow:
                swallowed, self._swallow = text[start] in self._swallow, ""
                start += swallowed
                continue
            found = self._ends.search(text, start)
            end = len(text) if found is None else found.start()
            done += text[start:end].replace("\0", "").encode(self._charset, "replace")
            start = end
            if found is not None:
                done += self._eol
                self._swallow = {"\r": "\n\0", "\n": "\r"}.get(found[0], "")
                start += 1
        return bytes(done)
