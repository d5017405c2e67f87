"""characters -> the line being typed: rubbed out, cut at its limit, echoed (CONTRACT section 1)."""

import re
from typing import Final

from adapters import limits
from gateway.wire.charsets import encode_text, find_charset, line_form
from gateway.wire.settings import Settings

_DATA_START: Final = re.compile(rb"(?:\? )?>")
_SECRET: Final = re.compile(rb"(\? )?[ \t]*log(in?)?[ \t]+[^ \t]+[ \t]", re.IGNORECASE)


class TypedLine:
    """What has been typed of one line. `limit`: the bytes it may have. What is to be echoed goes to `output`.

    `data_lines`: a line that begins with `>` may have any length, and comes in pieces; `continued`: its
    beginning has been given away.
    """

    def __init__(self, output: bytearray) -> None:
        self.limit = limits.LINE_BYTES
        self.data_lines = False
        self.line = bytearray()
        self.overlong = False
        self.continued = False
        self._output = output

    @property
    def room(self) -> int:
        """Bytes that may be taken at once, so that a data line is cut alike however its bytes come."""
        whole = limits.PIECE_BYTES + limits.LINE_BYTES
        return whole - len(self.line) if self.data_lines else limits.PIPELINE_BYTES

    def type(self, data: bytes, settings: Settings, negotiated: bool) -> tuple[bytes, bytes] | None:
        """Add what was typed. `negotiated`: by telnet. Where a data line has become long, a piece of it: in
        its line form without prompt and `>`, and as it was sent.
        """
        room, before = self.limit - len(self.line), len(self.line)
        is_data = self.data_lines and self._is_data(data, settings)
        if len(data) > room and not is_data:
            self.overlong = True
            data = data[: max(0, room)]
        self.line += data
        if settings.echo:
            self._echo(data, before, settings, negotiated)
        if not is_data or len(self.line) < limits.PIECE_BYTES + limits.LINE_BYTES:
            return None
        sent = bytes(self.line[: limits.PIECE_BYTES])
        line = line_form(sent, settings.charset)
        begins = None if self.continued else _DATA_START.match(line)
        part = line[begins.end() if begins else 0 :]
        del self.line[: limits.PIECE_BYTES]
        self.continued = True
        return part, sent

    def _is_data(self, more: bytes, settings: Settings) -> bool:
        begins = bytes(self.line[:3]) + more[:3]
        return self.continued or _DATA_START.match(line_form(begins, settings.charset)) is not None

    def _echo(self, data: bytes, before: int, settings: Settings, negotiated: bool) -> None:
        """Send back what was kept of what was typed, but no control byte and never the secret of a LOGIN."""
        secret = _SECRET.match(line_form(bytes(self.line[: limits.LINE_BYTES]), settings.charset))
        if secret is not None:
            data = data[: max(0, secret.end() - before)]
        echoed = find_charset(settings.printed).echoed
        self._show(bytes(byte for byte in data if byte in echoed), settings, negotiated)

    def _show(self, data: bytes, settings: Settings, negotiated: bool) -> None:
        if settings.telnet == "on" or (settings.telnet == "auto" and negotiated):
            data = data.replace(b"\xff", b"\xff\xff")
        self._output += data

    def rub_out(self, settings: Settings, negotiated: bool) -> None:
        """Take the last byte back. `negotiated`: by telnet."""
        if self.continued and not self.line:
            self.overlong = True  # what was given away cannot be taken back
        if self.line and not self.overlong:
            del self.line[-1]
            if settings.echo:
                self._show(b"\b" + encode_text(" ", settings.printed) + b"\b", settings, negotiated)

    def erase(self) -> None:
        """Take back all of it."""
        self.line.clear()
        self.overlong = self.continued  # what was given away cannot be taken back

    def clear(self) -> None:
        """Begin anew."""
        self.line.clear()
        self.overlong = self.continued = False
