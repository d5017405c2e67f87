"""Commands -> replies, over a control connection (RFC 959 sections 4.2 and 5.3), on aioftp's client.

aioftp sends the commands and waits for the replies. Two things of it are done anew here, as it gives up on
what servers really send: a line keeps its last blanks (they may be a name's), and a line inside a long reply
may begin with digits. Its way to open data connections and its parsers are not used (the handshake would come
before the command). Its log is silenced: it writes commands.
"""

import logging
import ssl
from dataclasses import dataclass
from typing import Final

import aioftp
from aioftp.common import Code, ThrottleStreamIO

from adapters import limits
from adapters.errors import BrokenOff, WrongDocument
from adapters.ftp.link.streams import Streams, secured

ENCODING: Final = "latin-1"  # every byte is one character: names go through as they are

_NO_FTP: Final = "The far server does not speak FTP"


@dataclass(frozen=True, slots=True)
class Reply:
    """One whole reply: its code, and the lines with the code taken off the first and the last one."""

    code: int
    lines: tuple[str, ...]
    about: str = ""  # what the command named

    @property
    def said(self) -> str:
        """The text without what the command named, which may hold any words."""
        return self.text.replace(self.about, "") if self.about else self.text

    @property
    def text(self) -> str:
        """All lines as one, for a look at what they say."""
        return " ".join(self.lines)

    @property
    def preliminary(self) -> bool:
        """Whether another reply follows (1yz)."""
        return self.code < 200

    @property
    def done(self) -> bool:
        """Whether the command went well (2yz)."""
        return 200 <= self.code < 300


class Control(aioftp.Client):
    """One control connection. Errors of the connection come out as BrokenOff, nonsense as WrongDocument."""

    def __init__(self, streams: Streams) -> None:
        super().__init__(encoding=ENCODING)
        _silence()
        self._streams = streams
        self._taken = 0
        self._adopt(streams)

    def _adopt(self, streams: Streams) -> None:
        self._streams, self._taken = streams, 0
        self._stream = ThrottleStreamIO(streams.reader, streams.writer, throttles={"_": self.throttle})

    @property
    def unasked(self) -> bool:
        """Whether it ended, or something came in that no command asked for: it is of no use any more."""
        streams = self._streams
        return streams.writer.is_closing() or streams.reader.at_eof() or streams.reader.arrived != self._taken

    @property
    def session(self) -> ssl.SSLSession | None:
        """The TLS session as it is now, for a data connection to resume."""
        inside = self._streams.writer.get_extra_info("ssl_object")
        return None if inside is None else inside.session

    async def secure(self, context: ssl.SSLContext, host: str) -> None:
        """Go on inside TLS."""
        self._adopt(await secured(self._streams, context, host))

    async def send(self, command: bytes) -> None:
        """One command, without its line end."""
        try:
            await self.command(command.decode(ENCODING), censor_after=4)
        except OSError as error:
            raise BrokenOff from error

    async def reply(self) -> Reply:
        """The next whole reply, preliminary or not."""
        code, lines = await self.parse_response()
        return Reply(int(code), tuple(lines))

    async def parse_line(self) -> tuple[Code, str]:
        """One line: its first three characters, and the rest without the line end only."""
        try:
            line = await self.stream.readline()
        except OSError as error:
            raise BrokenOff from error
        except ValueError as error:  # asyncio's, for a line over its limit
            raise WrongDocument(_NO_FTP) from error
        self._taken += len(line)
        if not line.endswith(b"\n"):
            raise BrokenOff
        text = line.decode(ENCODING).removesuffix("\n").removesuffix("\r")
        return Code(text[:3]), text[3:]

    async def parse_response(self) -> tuple[Code, list[str]]:
        """RFC 959 section 4.2: `123-` begins a reply of lines that ends with `123 `; all between is text."""
        code, rest = await self.parse_line()
        if not (len(code) == 3 and code.isascii() and code.isdecimal() and "100" <= code < "600"):
            raise WrongDocument(_NO_FTP)
        lines, size = [rest[1:]], len(rest)
        if rest[:1] != "-":
            return code, lines
        while True:
            mark, rest = await self.parse_line()
            size += 3 + len(rest)
            if size > limits.HEADER_BYTES:
                raise WrongDocument(_NO_FTP)
            if mark == code and rest[:1] in (" ", ""):
                return code, [*lines, rest[1:]]
            lines.append(mark + rest)

    def farewell(self) -> None:
        """Say goodbye without waiting for the answer, and close."""
        writer = self._streams.writer
        if not writer.is_closing():
            writer.write(b"QUIT\r\n")
            writer.close()
        if self._streams.secure:
            self._streams.abort()  # else it would wait for the other side's farewell

    def cut(self) -> None:
        """Close at once."""
        self._streams.abort()


class _Nothing(logging.Filter):
    def filter(self, record: logging.LogRecord) -> bool:
        return False


_NOTHING: Final = _Nothing()


def _silence() -> None:
    for name in ("aioftp", "aioftp.client"):
        logger = logging.getLogger(name)
        logger.addFilter(_NOTHING)  # adding it twice changes nothing
        logger.setLevel(logging.CRITICAL)
