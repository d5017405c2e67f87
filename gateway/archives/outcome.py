"""What became of a file's entries: exchanges, and what was left out, with the reason."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LeftOut:
    """An entry that is no recording. `why` is a few words, the same for all of one kind."""

    why: str


class ArchiveFault(ValueError):
    """A file that cannot be read as what it should be: why, with the line where one is known."""
