"""A command -> bytes, over a data connection: opened before the command, inside TLS after its 1yz.

RFC 959 section 5.3, RFC 3659 section 5 (REST), RFC 4217 section 7. Never ABOR: to stop, the data connection
is closed, and the reply that is owed is waited for briefly.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from adapters import limits
from adapters.errors import BrokenOff, HeadraceError
from adapters.ftp.link.login import Login, refusal
from adapters.ftp.link.streams import Streams


class Transfer:
    """One transfer that began. Errors: BrokenOff, TooSlow, and those of the final reply."""

    def __init__(self, login: Login, data: Streams) -> None:
        self._login = login
        self._data = data
        self._read = 0
        self.ended = False

    @property
    def ended_properly(self) -> bool:
        """Whether the far end said that its data is through: in TLS, a cut line shows here."""
        return self._data.protocol.ended_properly or not self._data.secure

    async def read(self, most: int = limits.CHUNK_BYTES) -> bytes:
        """The next bytes, or none at the end."""
        reader, deadline = self._data.reader, self._login.deadline
        try:
            if reader.arrived > self._read and deadline.left() > 0:
                data = await reader.read(most)  # here already: a timer would cost more than the reading
            else:
                async with deadline.step():
                    data = await reader.read(most)
        except OSError as error:
            raise await self._broken() from error
        self._read += len(data)
        return data

    async def write(self, data: bytes) -> None:
        """All of the bytes."""
        try:
            async with self._login.deadline.step():
                self._data.writer.write(data)
                await self._data.writer.drain()
        except OSError as error:
            raise await self._broken() from error
        if self._data.writer.is_closing() or self._data.reader.at_eof():
            raise await self._broken()

    async def finish(self) -> None:
        """Close the data connection and take the final reply, which has to be a good one."""
        if not self._data.writer.is_closing():
            self._data.writer.close()
        while self._login.busy:
            reply = await self._login.next_reply()
            if not reply.preliminary and not reply.done:
                self.ended = True
                raise refusal(reply, placing=True)
        self.ended = True
        self._data.abort()

    async def stop(self) -> None:
        """End it before its end. The login stays in step, or is dropped after use."""
        if self._data.secure:
            self._data.writer.close()
        else:
            self._data.abort()
        if not self.ended:
            self.ended = True
            await self._login.settle(limits.DRAIN_SECONDS)
        self._data.abort()

    def abort(self) -> None:
        """End it at once; the login is dropped after use unless its replies are through."""
        self._data.abort()

    async def _broken(self) -> HeadraceError:
        """The data connection is lost: the server's own word for it, if that comes soon, or BrokenOff."""
        self._data.abort()
        try:
            while self._login.busy:
                reply = await self._login.next_reply(limits.DRAIN_SECONDS)
                if not reply.preliminary and not reply.done:
                    return refusal(reply, placing=True)
        except HeadraceError:
            pass
        return BrokenOff()


@asynccontextmanager
async def transfer(
    login: Login, command: bytes, *, offset: int = 0, placing: bool = False
) -> AsyncIterator[Transfer]:
    """A transfer that began, or the error of its refusal. Stopped on the way out if not finished."""
    data = await login.open_data()
    try:
        await _begin(login, command, offset, placing=placing)
        if login.busy:
            data = await login.secure_data(data)
    except HeadraceError:
        data.abort()
        raise
    except BaseException:  # nobody knows what the server still makes of that connection
        data.abort()
        login.busy = True
        raise
    begun = Transfer(login, data)
    begun.ended = not login.busy  # a few say 226 at once for an empty document
    try:
        yield begun
    except Exception:
        await begun.stop()
        raise
    except BaseException:
        begun.abort()
        raise
    await begun.stop()


async def _begin(login: Login, command: bytes, offset: int, *, placing: bool) -> None:
    if offset or login.marked:  # a server may keep a mark for the next transfer (RFC 3659 section 5.3)
        reply = await login.ask(b"REST %d" % offset)
        if reply.code != 350:
            login.restarts = False
            login.busy = login.marked  # where its next transfer would begin, nobody knows
            raise refusal(reply)
    login.marked = offset > 0
    reply = await login.begin(command)
    if not reply.preliminary and not reply.done:
        raise refusal(reply, placing=placing)
    login.marked = False
