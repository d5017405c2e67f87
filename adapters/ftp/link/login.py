"""A control connection -> a login: commands, folders, data connections, and whether it can be used again.

The sequence of a login: TCP, TLS before or after the greeting (RFC 4217 sections 4 and 12), USER and PASS
(RFC 959 section 5.4), PBSZ and PROT P (RFC 4217 section 9), FEAT (RFC 2389), OPTS UTF8 ON where FEAT has it
(common practice), PWD, TYPE I.
"""

import ssl
from dataclasses import dataclass, field, replace
from typing import Final

from adapters import limits
from adapters.addresses import Address, Guard, Resolver
from adapters.dialing import dialled
from adapters.errors import (
    BrokenOff,
    CannotConnect,
    FarBusy,
    HeadraceError,
    NotPossible,
    NotThere,
    WrongDocument,
)
from adapters.ftp.features import Features, read_features
from adapters.ftp.link.control import ENCODING, Control, Reply
from adapters.ftp.link.deadline import Deadline
from adapters.ftp.link.dialing import data_connection
from adapters.ftp.link.streams import Streams, open_streams, secured
from adapters.ftp.locations import TELNET, Path, Server, odd_name_guarded
from adapters.ftp.passive import extended_port, passive_port
from adapters.ftp.replies import reply_fault

_NO_TLS: Final = "No TLS with the far server"


@dataclass(frozen=True, slots=True)
class Account:
    """Which server, as whom, and by which rules: what a login may be reused for."""

    server: Server
    user: str = field(repr=False)
    secret: str = field(repr=False)
    guard: Guard
    trust: object = None  # adapters.trust.TrustKey or None


class Login:
    """One control connection, logged in. `busy`: a reply is owed, so it is closed and never reused.

    Whoever uses it sets `deadline` first; each command and reply is one step of it.
    """

    def __init__(
        self, account: Account, address: Address, control: Control, context: ssl.SSLContext | None
    ) -> None:
        self.account = account
        self.deadline = Deadline(0)
        self.features = Features()
        self.home: bytes | None = None
        self.busy = False
        self.commands = 0
        self.restarts = True  # until REST is refused
        self.marked = False  # a REST was taken, and what was to begin there was refused
        self.lists_hidden: bool | None = None  # whether `LIST -a` is worth trying; None: not asked yet
        self._address = address
        self._control = control
        self._context = context
        self._extended = True
        self._about = ""
        self._moved = False

    @property
    def reusable(self) -> bool:
        """Whether the next command would be answered by its own reply."""
        return not self.busy and not self._control.unasked and self.home is not None

    async def ask(self, command: bytes, patience: float = limits.STALL_SECONDS) -> Reply:
        """A command and its final reply, whatever that is. FarBusy for 421, which ends the connection."""
        reply = await self.begin(command, patience)
        while reply.preliminary:
            reply = await self.next_reply(patience)
        return reply

    async def begin(self, command: bytes, patience: float = limits.STALL_SECONDS) -> Reply:
        """A command and its first reply. After a preliminary one, `next_reply` is to be called."""
        if self.busy:
            raise BrokenOff
        self.busy = True
        self.commands += 1
        self._about = command.partition(b" ")[2].decode(ENCODING).removeprefix("./")
        async with self.deadline.step(patience):
            await self._control.send(command)
        return await self.next_reply(patience)

    async def next_reply(self, patience: float = limits.STALL_SECONDS) -> Reply:
        """A reply that is owed."""
        async with self.deadline.step(patience):
            reply = replace(await self._control.reply(), about=self._about)
        if reply.code == 421:
            self._control.cut()
            raise FarBusy("The far server is busy")
        self.busy = reply.preliminary
        return reply

    async def expect(self, command: bytes, *, placing: bool = False) -> Reply:
        """A command that has to go well; else the error of its reply."""
        reply = await self.ask(command)
        if reply.done or reply.code == 350:
            return reply
        raise refusal(reply, placing=placing)

    async def enter(self, folder: Path) -> None:
        """Go to a folder, each time anew: somebody may have renamed the one that we are in. NotThere."""
        if self.home is None and self._moved:  # there is no way back to where paths begin
            raise NotPossible("The far server tells no folder")
        self._moved = True
        reply = await self.ask(b"CWD " + folder.spelled(self.home))
        if reply.done:
            return
        fault = refusal(reply)
        if reply.code in {501, 553}:  # what some say of a name that is not there
            fault = NotThere()
        raise fault

    async def open_data(self) -> Streams:
        """A data connection for the next command; EPSV, or PASV where that was refused (RFC 2428)."""
        port = 0
        if self._extended:
            reply = await self.ask(b"EPSV")
            if reply.code == 229:
                port = extended_port(reply.text)
            elif reply.code == 425 or reply.code >= 500:
                self._extended = False
            else:
                raise refusal(reply)
        if not port:
            reply = await self.ask(b"PASV")
            if reply.code != 227:
                raise refusal(reply)
            port = passive_port(reply.text)
        async with self.deadline.step():
            return await data_connection(self._address, port, self.account.guard)

    async def secure_data(self, data: Streams) -> Streams:
        """The data connection inside TLS, resuming the control connection's session, if that is inside.

        Done after the command's 1yz: servers start TLS no sooner (RFC 4217 section 7).
        """
        if self._context is None:
            return data
        async with self.deadline.step():
            return await secured(data, self._context, self.account.server.host, self._control.session)

    async def settle(self, seconds: float) -> None:
        """Bring a login that a transfer was stopped on back in step, within a short time, or leave it busy.

        One reply is owed, but servers send two, or (pure-ftpd) a 150 that is the last one: NOOP's own 200
        shows where they end. It is not sent before one came, as some would answer it first.
        """
        try:
            await self.next_reply(seconds)
            self.busy = False
            reply = await self.begin(b"NOOP", seconds)
            while reply.code != 200:
                reply = await self.next_reply(seconds)
        except HeadraceError:
            self.busy = True

    def close(self) -> None:
        """Close the connection: with a goodbye, unless the server is in the middle of something."""
        if self.busy:
            self._control.cut()
        else:
            self._control.farewell()

    async def set_up(self) -> None:
        """From the TCP connection to a folder. CredentialsRefused, FarBusy, Untrusted, CannotConnect."""
        server = self.account.server
        if server.implicit:
            await self._secure()
        await self._greeted()
        if server.tls and not server.implicit:
            reply = await self.ask(b"AUTH TLS")
            if reply.code != 234:
                raise CannotConnect(_NO_TLS)
            await self._secure()
        await self._log_in()
        if server.tls:
            await self.ask(b"PBSZ 0")
            if not (await self.ask(b"PROT P")).done:
                raise CannotConnect(_NO_TLS)
        await self._learn()

    async def _secure(self) -> None:
        assert self._context is not None
        async with self.deadline.step():
            await self._control.secure(self._context, self.account.server.host)

    async def _greeted(self) -> None:
        self.busy = True
        reply = await self.next_reply()
        while reply.preliminary:
            reply = await self.next_reply()
        if not reply.done:
            raise refusal(reply)

    async def _log_in(self) -> None:
        reply = await self.ask(b"USER " + self.account.user.encode())
        if reply.code == 331:
            reply = await self.ask(b"PASS " + self.account.secret.encode())
        if not reply.done:
            raise refusal(reply)

    async def _learn(self) -> None:
        reply = await self.ask(b"FEAT")
        if reply.code == 211:
            self.features = read_features(reply.lines[1:-1])
        if self.features.utf8:
            await self.ask(b"OPTS UTF8 ON")
        if self.features.digest_option:
            await self.ask(self.features.digest_option.encode())
        reply = await self.ask(b"PWD")
        self.home = _quoted_path(reply.lines[-1]) if reply.code == 257 else None
        await self.expect(b"TYPE I")


async def open_login(
    account: Account, context: ssl.SSLContext | None, deadline: Deadline, resolve: Resolver
) -> Login:
    """A new login, or the error that says why there is none; nothing is left open then."""
    server = account.server
    async with deadline.step():
        address, streams = await dialled(server.host, server.port, account.guard, resolve, open_streams)
    login = Login(account, address, Control(streams), context)
    login.deadline = deadline
    try:
        await login.set_up()
    except BaseException:
        login.busy = True
        login.close()
        raise
    return login


class RefusedReply(Exception):
    """The reply behind an error: its cause, for the log and for who knows better what it means."""

    def __init__(self, reply: Reply) -> None:
        super().__init__(f"{reply.code} {reply.text}")
        self.reply = reply


def refusal(reply: Reply, *, placing: bool = False) -> HeadraceError:
    """The error of a reply that is not what was wanted."""
    fault = reply_fault(reply.code, reply.said, placing=placing)
    fault = fault or WrongDocument("The far server does not speak FTP")
    fault.__cause__ = RefusedReply(reply)
    return fault


def reply_behind(fault: HeadraceError) -> Reply | None:
    """The refusal that an error was made of, if it was."""
    return fault.__cause__.reply if isinstance(fault.__cause__, RefusedReply) else None


def named(command: bytes, name: bytes) -> bytes:
    """A command about a name in the folder that the login is in."""
    return command + b" " + odd_name_guarded(name)


def _quoted_path(text: str) -> bytes | None:
    """The folder in a 257: between quotes, a quote doubled (RFC 959 appendix II). None: not absolute, or
    nothing that a command can carry.
    """
    start = text.find('"')
    if start < 0:
        return None
    path, at = "", start + 1
    while at < len(text):
        if text[at] == '"':
            if text[at + 1 : at + 2] != '"':
                break
            at += 1
        path += text[at]
        at += 1
    raw = path.encode("latin-1")
    carried = TELNET.search(raw) is None and not any(each in raw for each in b"\r\n\0")
    return raw if raw.startswith(b"/") and carried else None
