"""A login in a folder -> what is in it, or what one name in it is.

MLSD and MLST (RFC 3659 section 7) where FEAT has them, else LIST, SIZE and MDTM (sections 3 and 4). The login
went to the folder before, so a refused listing means an empty one (some say 550 or 450 for that), unless the
text of a 550 tells of a missing right; and no name is ever given to LIST, which takes some for options.
"""

import asyncio
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

from adapters import limits
from adapters.errors import HeadraceError, NotThere
from adapters.files import Entry, Kind, Stat
from adapters.ftp.link.control import Reply
from adapters.ftp.link.login import Login, named, refusal, reply_behind
from adapters.ftp.link.transfers import transfer
from adapters.ftp.listing.facts import entry_of, read_facts, read_time
from adapters.ftp.listing.lines import Listed
from adapters.ftp.locations import Path
from adapters.ftp.replies import tells_of_no_right

Now = Callable[[], datetime]

Entries = tuple[tuple[Entry, ...], bool]
"""Entries, and whether some are missing."""

_SIZE: Final = re.compile(r"[0-9]{1,20}")
_NO_COMMAND: Final = frozenset({500, 501, 502, 503, 504})
_NOT_THERE: Final = frozenset({550, 553, 501, 450})


def utc_now() -> datetime:
    """The clock that years are guessed by."""
    return datetime.now(UTC)


async def entries(login: Login, now: Now = utc_now) -> Entries:
    """The entries of the folder that the login is in."""
    if login.features.facts:
        found = await _listed(login, b"MLSD", now)
        if found is not None:
            return found
        login.features = replace(login.features, facts=False)
    if await _lists_hidden(login):
        found = await _listed(login, b"LIST -a", now)
        if found is not None and found[0]:
            return found
    found = await _listed(login, b"LIST", now)
    if found is None:
        raise refusal(Reply(502, ()))
    return found


async def look(login: Login, folder: Path, name: bytes, now: Now = utc_now) -> Stat | None:
    """What a name in `folder`, where the login is, stands for; None where nothing is."""
    origin = str(login.account.server)
    if not name:
        return Stat(Kind.FOLDER, origin=origin)
    if login.features.facts:
        reply = await login.ask(named(b"MLST", name))
        if reply.code == 250:
            found = _told(reply, name)
            if (
                found is not None and found.kind is Kind.LINK
            ):  # what it leads to, or itself if that is nowhere
                led = await _tried(login, folder, name, origin, now)
                return led or Stat(Kind.LINK, None, found.modified, origin=origin)
            if found is not None:
                size = found.size if found.kind is Kind.FOLDER else await _exact(login, name, found.size)
                return Stat(found.kind, size, found.modified, origin=origin)
        elif reply.code not in _NO_COMMAND - {501}:
            _absent(reply)
            return None
    return await _tried(login, folder, name, origin, now)


async def needed(login: Login, folder: Path, name: bytes, now: Now = utc_now) -> Stat:
    """As `look`; NotThere where nothing is."""
    found = await look(login, folder, name, now)
    if found is None:
        raise NotThere
    return found


async def _exact(login: Login, name: bytes, told: int | None) -> int | None:
    """What RETR will send: SIZE says so (RFC 3659 section 4), while a fact may be about a link (proftpd)."""
    if not login.features.size:
        return told
    reply = await login.ask(named(b"SIZE", name))
    digits = reply.text.strip()
    return int(digits) if reply.code == 213 and _SIZE.fullmatch(digits) else told


def _told(reply: Reply, name: bytes) -> Entry | None:
    """The entry in a reply to MLST: the line between, which begins with one blank (section 7.2)."""
    for line in reply.lines[1:-1] or reply.lines:
        found = read_facts(line.removeprefix(" ").encode("latin-1"))
        if found is not None and found[0]:
            return entry_of(found[0], name)
    return None


async def _tried(login: Login, folder: Path, name: bytes, origin: str, now: Now) -> Stat | None:
    """Without facts: a document has a size, a folder can be entered, and the rest stands in the listing."""
    sized = await login.ask(named(b"SIZE", name)) if login.features.size else None
    if sized is not None and sized.code == 213:
        digits = sized.text.strip()
        size = int(digits) if _SIZE.fullmatch(digits) else None
        return Stat(Kind.FILE, size, await _modified(login, name), origin=origin)
    entered = await login.ask(named(b"CWD", name))
    if entered.done:
        await login.enter(folder)
        return Stat(Kind.FOLDER, origin=origin)
    if sized is not None and sized.code == 550:
        _absent(sized)
        return None
    found, _ = await entries(login, now)
    for entry in found:
        if entry.name == name:
            return Stat(entry.kind, entry.size, entry.modified, origin=origin)
    return None


async def _modified(login: Login, name: bytes) -> datetime | None:
    if not login.features.modified:
        return None
    reply = await login.ask(named(b"MDTM", name))
    return read_time(reply.text.encode("latin-1")) if reply.code == 213 else None


def _absent(reply: Reply) -> None:
    """Nothing for a refusal that means that nothing is there; its error for any other."""
    if reply.code not in _NOT_THERE or tells_of_no_right(reply.said):
        raise refusal(reply)


async def _lists_hidden(login: Login) -> bool:
    """Whether `LIST -a` means what it means to ls(1): common practice of servers on Unix (SYST, 215)."""
    if login.lists_hidden is None:
        reply = await login.ask(b"SYST")
        login.lists_hidden = reply.code == 215 and "UNIX" in reply.text.upper()
    return login.lists_hidden


async def _listed(login: Login, command: bytes, now: Now) -> Entries | None:
    """What a command lists; None where the server does not have it."""
    listed = Listed(facts=command == b"MLSD", now=now())
    try:
        async with transfer(login, command) as moved:
            while data := await moved.read():
                for start in range(0, len(data), limits.LIST_PIECE_BYTES):
                    listed.feed(data[start : start + limits.LIST_PIECE_BYTES])
                    if listed.full:
                        listed.partial = True
                        return listed.finish(), True
                    await asyncio.sleep(0)  # others have their turn, however fast it comes
            listed.partial |= not moved.ended_properly
            await moved.finish()
    except HeadraceError as fault:
        reply = reply_behind(fault)
        if reply is None:
            raise
        return _nothing(reply)
    return listed.finish(), listed.partial


def _nothing(reply: Reply) -> Entries | None:
    """What a refused listing of a folder that is there means."""
    if reply.code in _NO_COMMAND:
        return None
    if reply.code in {450, 550} and not tells_of_no_right(reply.said):
        return (), False
    raise refusal(reply)
