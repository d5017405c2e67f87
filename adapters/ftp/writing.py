"""Bytes -> a document at a name, whole: STOR beside it, checked, then RNFR and RNTO over it.

Until RNTO is sent only the temporary name is touched, and every failure leaves the target as it was. Where a
server refuses to rename over an existing document, that one steps aside first and comes back if the new one
cannot take its place: at no time is it erased before the new one is there. RNTO unanswered is `Unanswered`,
for the caller to look, on another login, at what became of it.
"""

import hashlib
import secrets
from collections.abc import AsyncGenerator, AsyncIterator
from contextlib import aclosing, asynccontextmanager, suppress
from dataclasses import dataclass
from typing import Final

from adapters import limits
from adapters.errors import (
    BrokenOff,
    HeadraceError,
    MayBeDone,
    NameNotAllowed,
    WrongDocument,
)
from adapters.files import A_FOLDER, Condition, Kind, Stat, Upload, Was, unmet
from adapters.ftp.folders import entries, look
from adapters.ftp.link.login import Login, named, refusal, reply_behind
from adapters.ftp.link.transfers import Transfer, transfer
from adapters.ftp.locations import Path, is_odd
from adapters.ftp.reading import far_digest
from adapters.ftp.replies import tells_of_no_right

_LONGEST: Final = 255  # bytes of a name on most servers' disks
_NAME_REFUSED: Final = frozenset({501, 550, 553})


class Unanswered(Exception):
    """A command that acts on the target was sent, and no reply to it came. `fault` says why."""

    def __init__(self, fault: HeadraceError) -> None:
        super().__init__(fault.sentence)
        self.fault = fault


@dataclass(slots=True)
class Aside:
    """Names beside a target: of the new document, and of the old one while it has stepped aside."""

    new: bytes
    old: bytes
    stepped: bool = False
    """Whether the old one has been, or may have been, renamed to `old`."""

    @classmethod
    def of(cls, name: bytes) -> "Aside":
        """Names nobody else has: `NAME.hr-RANDOM.part`, without NAME where that would be too long."""
        mark = b".hr-" + secrets.token_hex(5).encode()
        start = name if len(name) + len(mark) + 5 <= _LONGEST else b""
        return cls(start + mark + b".part", start + mark + b".old")

    def shorten(self) -> None:
        """Names for a disk that takes 8 letters and 3."""
        start = b"HR" + secrets.token_hex(3).upper().encode()
        self.new, self.old = start + b".PRT", start + b".OLD"


async def act(login: Login, command: bytes, patience: float, *, placing: bool = False) -> None:
    """A command that acts on the target. Unanswered, or the error of its refusal: nothing was done then."""
    try:
        reply = await login.ask(command, patience)
    except HeadraceError as fault:
        raise Unanswered(fault) from fault
    if not reply.done:
        raise refusal(reply, placing=placing)


async def probe(login: Login, name: bytes) -> None:
    """NameNotAllowed where the server would make another name of an odd one: pure-ftpd puts `_` for a blank
    at the end, and would write over what has that name. A folder is made under another name that is as odd,
    looked for in the listing, and erased.
    """
    if not is_odd(name):
        return
    middle = secrets.token_hex(5).encode()
    first, last = (each if each in (b" ", b"\t") else b"x" for each in (name[:1], name[-1:]))
    inner = bytes(sorted({each for each in name if each < 0x20 or each == 0x7F}))
    tried = first + b".hr-" + middle + inner + last
    made = await login.ask(named(b"MKD", tried))
    if not made.done:
        raise refusal(made) if tells_of_no_right(made.said) else NameNotAllowed()
    found = [each.name for each in (await entries(login))[0] if middle in each.name]
    for each in found or [tried]:
        await login.ask(named(b"RMD", each))
    if found != [tried]:
        raise NameNotAllowed


def check(condition: Condition, found: Stat | None) -> None:
    """ChangedMeanwhile where it is not as `condition` wants it, WrongDocument where it is a folder."""
    if found is not None and found.kind is Kind.FOLDER:
        raise WrongDocument(A_FOLDER)
    if condition is Was.ANYTHING:
        return
    if condition is Was.NOTHING:
        if found is not None:
            raise unmet(condition)
        return
    assert isinstance(condition, Stat)
    if found is None or found.kind is not condition.kind:
        raise unmet(condition)
    for then, now in ((condition.size, found.size), (condition.modified, found.modified)):
        if then is not None and now is not None and then != now:
            raise unmet(condition)


@asynccontextmanager
async def _storing(login: Login, aside: Aside) -> AsyncIterator[Transfer]:
    """STOR to the temporary name; where that is refused, perhaps for its length, to a short one."""
    began = False
    try:
        async with transfer(login, named(b"STOR", aside.new), placing=True) as moved:
            began = True
            yield moved
            return
    except HeadraceError as fault:
        reply = reply_behind(fault)
        if began or reply is None or reply.code not in _NAME_REFUSED:
            raise
    aside.shorten()
    async with transfer(login, named(b"STOR", aside.new), placing=True) as moved:
        yield moved


async def store(login: Login, aside: Aside, upload: Upload) -> tuple[int, str]:
    """Send all bytes to the temporary name, and check them: how many, and by what it was checked."""
    algorithm = login.features.digest
    running = hashlib.new(algorithm, usedforsecurity=False) if algorithm else None
    size = 0
    async with (
        _storing(login, aside) as moved,
        aclosing(_pieces(login, upload.chunks())) as pieces,
    ):
        async for piece in pieces:
            size += len(piece)
            if upload.size is not None and size > upload.size:
                break
            if running is not None:
                running.update(piece)
            await moved.write(piece)
        if upload.size is not None and size != upload.size:
            raise BrokenOff("Not as long as was said")
        await moved.finish()
    return size, await _verified(login, aside.new, size, running.hexdigest() if running is not None else "")


async def _pieces(login: Login, chunks: AsyncIterator[bytes]) -> AsyncGenerator[bytes, None]:
    """The same bytes in pieces of limits.CHUNK_BYTES at most. TooSlow where none comes for long."""
    while True:
        async with login.deadline.step():
            chunk = await anext(chunks, None)
        if chunk is None:
            return
        for start in range(0, len(chunk), limits.CHUNK_BYTES):
            yield chunk[start : start + limits.CHUNK_BYTES]


async def _verified(login: Login, name: bytes, size: int, digits: str) -> str:
    """What says that the bytes arrived: a digest's name, "size", or nothing. BrokenOff where it says no."""
    checked = ""
    reply = await login.ask(named(b"SIZE", name)) if login.features.size else None
    if reply is not None and reply.code == 213 and reply.text.strip().isdecimal() and reply.text.isascii():
        if int(reply.text) != size:
            raise BrokenOff("Not all of it arrived")
        checked = "size"
    if digits:
        found = await far_digest(login, name, size)
        if found is not None:
            if found.digits != digits:
                raise BrokenOff("What arrived is not what was sent")
            checked = found.algorithm
    return checked


async def replace_by_rename(
    login: Login, aside: Aside, name: bytes, old: Stat | None, patience: float
) -> None:
    """The new document takes the name. Unanswered, or an error that leaves the target as it was."""
    await login.expect(named(b"RNFR", aside.new))
    try:
        await act(login, named(b"RNTO", name), patience, placing=True)
    except HeadraceError:
        if old is None or old.kind is Kind.FOLDER:
            raise
        await _step_aside(login, aside, name, patience)


async def _step_aside(login: Login, aside: Aside, name: bytes, patience: float) -> None:
    """Where the server renames over nothing: the old one makes room, and comes back on failure."""
    await login.expect(named(b"RNFR", name))
    aside.stepped = True
    try:
        await act(login, named(b"RNTO", aside.old), patience, placing=True)
    except HeadraceError:
        aside.stepped = False
        raise
    try:
        await login.expect(named(b"RNFR", aside.new))
        await act(login, named(b"RNTO", name), patience, placing=True)
    except HeadraceError as fault:
        await put_back(login, aside, name, fault)
        raise
    with suppress(HeadraceError):  # the new one is there: what is left of the old one is no failure
        aside.stepped = not (await login.ask(named(b"DELE", aside.old))).done


async def put_back(login: Login, aside: Aside, name: bytes, fault: HeadraceError) -> None:
    """The old document gets its name again, or nobody knows: Unanswered."""
    try:
        await login.expect(named(b"RNFR", aside.old))
        await login.expect(named(b"RNTO", name))
    except HeadraceError as again:
        raise Unanswered(fault) from again
    aside.stepped = False


async def settled(login: Login, folder: Path, aside: Aside, name: bytes) -> bool:
    """After an unanswered RNTO, on another login: whether the new document has the name. MayBeDone: unclear.

    Erasing the new document under its temporary name makes it certain that a late RNTO finds nothing.
    """
    erased = await login.ask(named(b"DELE", aside.new))
    if erased.done:
        if aside.stepped:
            await _bring_back(login, folder, aside, name)
        return False
    if await look(login, folder, aside.new) is None and await look(login, folder, name) is not None:
        return True
    raise MayBeDone


async def _bring_back(login: Login, folder: Path, aside: Aside, name: bytes) -> None:
    if await look(login, folder, name) is not None:
        raise MayBeDone  # a late RNTO may still move it aside
    await login.expect(named(b"RNFR", aside.old))
    await login.expect(named(b"RNTO", name))
    aside.stepped = False
