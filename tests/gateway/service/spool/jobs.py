"""Jobs to test with."""

from pathlib import Path

from adapters.files import Condition, Was
from gateway.service.spool.spool import Held, Spool

PARTS = ("data", "job", "spare", "fault")
"""The files of a job that could not be delivered."""


def sealed(
    spool: Spool,
    body: bytes = b"body",
    kind: str = "store",
    ref: str = "CLUB:scores.txt",
    condition: Condition = Was.ANYTHING,
) -> Held:
    """A job, taken in and still held."""
    draft = spool.begin(kind, ref, condition)
    draft.write(body)
    return draft.seal()


def kept(spool: Spool, body: bytes = b"body", kind: str = "store", ref: str = "CLUB:scores.txt") -> int:
    """The number of a job that could not be delivered."""
    held = sealed(spool, body, kind, ref)
    held.failed("The far server is failing")
    return held.number


async def bytes_of(held: Held) -> bytes:
    return b"".join([chunk async for chunk in held.chunks()])


def names(spool_folder: Path) -> set[str]:
    return {each.name for each in spool_folder.iterdir()}
