"""A text service, invented: it wants a name and a password, shows a screen, and says goodbye.

What is typed it echoes, but for the password, as services on a modem do.
"""

import asyncio
from collections.abc import Awaitable, Callable

NAME, PASSWORD = "wren", "feather"
COLUMNS, ROWS = 40, 20
PAGE = [f"{row:02} {'.:+*#@'[row % 6] * (COLUMNS - 6)} {row * 7 % 100:02}" for row in range(1, ROWS + 1)]
"""Each line full and unlike the others."""

IAC, DO, WILL = b"\xff", b"\xfd", b"\xfb"
_ECHO, _GO_AHEAD, _SIZE = b"\x01", b"\x03", b"\x1f"  # RFC 857, 858, 1073

Said = Callable[[str], None]


class _Line:
    """Lines of one caller, whatever ends them; telnet's commands are left out (RFC 854)."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.commands: list[bytes] = []
        self._reader, self._writer = reader, writer
        self._after_cr = False

    async def read(self, *, echo: bool = True) -> str:
        line = bytearray()
        while byte := await self._byte():
            after, self._after_cr = self._after_cr, byte == b"\r"
            if byte in b"\r\n\0":
                if after and byte in b"\n\0":
                    continue
                self.write("\r\n")
                return line.decode()
            line += byte
            if echo:
                self._writer.write(byte)
        raise asyncio.IncompleteReadError(bytes(line), None)

    async def _byte(self) -> bytes:
        byte = await self._reader.read(1)
        while byte == IAC:
            command = await self._reader.readexactly(1)
            if command == b"\xfa":  # SB ... IAC SE
                command += await self._reader.readuntil(b"\xff\xf0")
            elif command in b"\xfb\xfc\xfd\xfe":
                command += await self._reader.readexactly(1)
            self.commands.append(command)
            byte = await self._reader.read(1)
        return byte

    def write(self, text: str) -> None:
        self._writer.write(text.encode())


async def _serve(line: _Line) -> None:
    line.write("The bird club (invented)\r\n")
    while True:
        line.write("Name: ")
        name = await line.read()
        line.write("Password: ")
        if (name, await line.read(echo=False)) == (NAME, PASSWORD):
            break
        line.write("Not known here\r\n")
    while True:
        line.write("PAGE or BYE? ")
        word = (await line.read()).upper()
        if word == "PAGE":
            line.write("".join(f"{each}\r\n" for each in PAGE))
        if word == "BYE":
            line.write("Fly well\r\n")
            return


async def club(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Over a bare connection."""
    await _serve(_Line(reader, writer))


def telnet_club(
    commands: list[bytes],
) -> Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]:
    """The same for telnet: it asks for the terminal's size and notes what is answered to its options."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(IAC + WILL + _ECHO + IAC + WILL + _GO_AHEAD + IAC + DO + _SIZE)
        line = _Line(reader, writer)
        line.commands = commands
        await _serve(line)

    return serve
