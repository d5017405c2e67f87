"""An error <-> what is kept of it; and the error where nothing was kept, or cannot be read any more."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from adapters.errors import AskedTooOften, FarBusy, HeadraceError, NotRecorded
from adapters.recorded.exchange import Asked, Content, Failure
from adapters.recorded.ports import Recordings
from adapters.recorded.tree.toml_text import ERRORS

_log = logging.getLogger(__name__)


def failure_of(fault: HeadraceError, *, sent: bool) -> Failure:
    """An error as it is kept. `sent`: the request was under way, so that a change may have been made."""
    seconds = fault.seconds if isinstance(fault, AskedTooOften | FarBusy) else None
    return Failure(type(fault).__name__, fault.sentence, seconds, fault.far, sent)


def fault_of(failure: Failure) -> HeadraceError:
    """The error, to be raised again."""
    kind = ERRORS[failure.name]
    if issubclass(kind, AskedTooOften | FarBusy):
        fault: HeadraceError = kind(failure.sentence, failure.seconds)
    else:
        fault = kind(failure.sentence)
    fault.far = failure.far
    return fault


def not_recorded(recordings: Recordings, asked: Asked) -> NotRecorded:
    """The error where nothing was recorded, with what comes nearest for WHY."""
    miss = recordings.missing(asked)
    fault = NotRecorded("Offline: nothing recorded for that")
    if miss.nearest:
        fault.notes = (("NEAREST", miss.nearest), ("DIFFERS", miss.differs))
    return fault


@contextmanager
def from_disk() -> Iterator[None]:
    """What the disk does not give of a recording is the gateway's own failing, not a far server's."""
    try:
        yield
    except OSError as error:
        _log.error("a recording cannot be read: %s: %s", error.filename, error.strerror or error)
        raise HeadraceError("The recording cannot be read") from error


def bytes_of(content: Content, offset: int = 0) -> Iterator[bytes]:
    """A recorded body from `offset` on, in pieces."""
    with from_disk():
        yield from content.chunks(offset)
