"""An error <-> what is kept of it; and the error where nothing was kept."""

from adapters.errors import AskedTooOften, FarBusy, HeadraceError, NotRecorded
from adapters.recorded.exchange import Asked, Failure
from adapters.recorded.ports import Recordings
from adapters.recorded.tree.toml_text import ERRORS


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
