"""A login in a folder and a name -> the document's bytes, from anywhere in it, checked for their number.

SIZE or MLST says beforehand how long it is. With REST (RFC 3659 section 5) a read begins in the middle; where
a server refuses that, what comes before is read and dropped. The end is good if the size was reached, and
the server said 226; without a size, inside TLS, if the far end said its farewell (RFC 4217 section 12.4 asks
for it; without it a cut line would look like an end).
"""

from collections.abc import AsyncGenerator, AsyncIterator, Callable
from contextlib import asynccontextmanager

from adapters import limits
from adapters.errors import BrokenOff, HeadraceError, WrongDocument
from adapters.files import A_FOLDER, Digest, Kind, Reading, Stat
from adapters.ftp.digests import read_digits
from adapters.ftp.link.login import Login, named, reply_behind
from adapters.ftp.link.transfers import Transfer, transfer

Steps = Callable[[], tuple[tuple[str, float], ...]]
"""How long each part took so far."""


async def far_digest(login: Login, name: bytes, size: int | None) -> Digest | None:
    """What the server says of the whole document; None where it does not, or would take long."""
    features = login.features
    if not features.digest or size is None or size > limits.FAR_DIGEST_BYTES:
        return None
    reply = await login.ask(named(features.digest_command.encode(), name))
    digits = read_digits(reply.text, features.digest) if reply.done else None
    return None if digits is None else Digest(features.digest, digits)


@asynccontextmanager
async def opened(
    login: Login, name: bytes, stat: Stat, offset: int, count: int | None, *, steps: Steps = tuple
) -> AsyncIterator[Reading]:
    """The document open for reading. The login is in its folder. WrongDocument for a folder."""
    if stat.kind is Kind.FOLDER:
        raise WrongDocument(A_FOLDER)
    rest = None if stat.size is None else max(0, stat.size - offset)
    wanted = rest if count is None else count if rest is None else min(count, rest)
    digest = await far_digest(login, name, stat.size) if offset == 0 and count is None else None
    if wanted == 0 and (count == 0 or offset > 0):
        yield Reading(_none(), offset, stat.size, stat, steps=steps())
        return
    async with _from(login, named(b"RETR", name), offset, size_known=stat.size is not None) as moved:
        chunks = _chunks(moved, wanted, to_end=wanted is not None and wanted == rest)
        try:
            yield Reading(chunks, offset, stat.size, stat, digest, steps())
        finally:
            await chunks.aclose()


@asynccontextmanager
async def _from(login: Login, command: bytes, offset: int, *, size_known: bool) -> AsyncIterator[Transfer]:
    """A transfer that stands at `offset`."""
    began = False
    if offset and login.restarts:
        try:
            async with transfer(login, command, offset=offset) as moved:
                began = True
                yield moved
                return
        except HeadraceError as fault:
            # Refused: REST itself, or an offset past an end that nobody knew.
            if began or reply_behind(fault) is None or (login.restarts and size_known):
                raise
    async with transfer(login, command) as moved:
        await _skip(moved, offset)
        yield moved


async def _skip(moved: Transfer, count: int) -> None:
    while count > 0:
        data = await moved.read(min(count, limits.CHUNK_BYTES))
        if not data:
            return
        count -= len(data)


async def _none() -> AsyncIterator[bytes]:
    nothing: tuple[bytes, ...] = ()
    for each in nothing:
        yield each  # pragma: no cover — there is none; a generator has a yield


async def _chunks(moved: Transfer, wanted: int | None, *, to_end: bool) -> AsyncGenerator[bytes, None]:
    """The bytes wanted, and if they are the document's last ones, the server's word that they are."""
    left = wanted
    while left is None or left > 0:
        data = await moved.read(limits.CHUNK_BYTES if left is None else min(limits.CHUNK_BYTES, left))
        if not data:
            break
        if left is not None:
            left -= len(data)
        yield data
    if left == 0 and (not to_end or await moved.read(1)):
        return  # more would follow: the transfer is stopped
    await moved.finish()
    if (to_end and left) or (left != 0 and not moved.ended_properly):
        raise BrokenOff
