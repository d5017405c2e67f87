"""All bytes of a listing, in any pieces -> entries; a line that cannot be read is left out and noted.

Pure: `Listed` is fed bytes as they come and finished once. Limits are those of adapters.limits: entries past
limits.LIST_ENTRIES are left out, a line past limits.ENTRY_BYTES is one that cannot be read.
"""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Final

from adapters import limits
from adapters.files import Entry
from adapters.ftp.listing.eplf import read_eplf_line
from adapters.ftp.listing.facts import entry_of, is_itself, read_facts
from adapters.ftp.listing.msdos import read_msdos_line
from adapters.ftp.listing.unix import read_unix_line

_NO_ENTRY: Final = re.compile(rb"[ \t]*|total +\d[\d.,]*[KMG]?[ \t]*", re.IGNORECASE)
"""Lines that ls(1) writes beside entries: blank ones and the count of blocks."""


class Listed:
    """A listing being read: `feed` it, then `finish`."""

    def __init__(self, *, facts: bool, now: datetime) -> None:
        self._facts = facts
        self._read: Callable[[bytes], Entry | None] = self._of_facts if facts else self._of_list
        self._now = now
        self._rest = bytearray()
        self._skipping = False  # inside a line that is too long
        self._received = 0
        self._lines = 0
        self._entries: list[Entry] = []
        self._seen: set[bytes] = set()
        self.partial = False

    @property
    def full(self) -> bool:
        """Whether a limit is reached, so that no further bytes are wanted."""
        much = self._received > limits.LIST_BYTES or self._lines > limits.LIST_LINES
        return much or len(self._entries) >= limits.LIST_ENTRIES

    def feed(self, data: bytes) -> None:
        """The next bytes."""
        self._received += len(data)
        self._rest += data
        *lines, rest = self._rest.split(b"\n")
        self._rest = bytearray(rest)
        for line in lines:
            if self._skipping:
                self._skipping = False
            else:
                self._line(bytes(line))
        if len(self._rest) > limits.ENTRY_BYTES:
            self._rest.clear()
            self._skipping = self.partial = True

    def finish(self) -> tuple[Entry, ...]:
        """All entries. A last line without an end counts where LIST wrote it; MLSD ends each in CR LF
        (RFC 3659 section 7.2), so that there a name was cut off.
        """
        if self._rest and self._facts:
            self.partial = True
        elif self._rest and not self._skipping:
            self._line(bytes(self._rest))
        self._rest.clear()
        return tuple(self._entries)

    def _line(self, line: bytes) -> None:
        self._lines += 1
        line = line.removesuffix(b"\r")
        if len(line) > limits.ENTRY_BYTES:
            self.partial = True
            return
        entry = self._read(line)
        if entry is None or entry.name in {b".", b".."}:
            return
        if len(self._entries) >= limits.LIST_ENTRIES or any(each in entry.name for each in b"/\0\r"):
            self.partial = True
        elif entry.name not in self._seen:
            self._seen.add(entry.name)
            self._entries.append(entry)

    def _of_facts(self, line: bytes) -> Entry | None:
        if not line.strip():
            return None
        found = read_facts(line)
        if found is None:
            self.partial = True
            return None
        facts, name = found
        return None if is_itself(facts) else entry_of(facts, name)

    def _of_list(self, line: bytes) -> Entry | None:
        if _NO_ENTRY.fullmatch(line):
            return None
        entry = read_unix_line(line, self._now) or read_msdos_line(line) or read_eplf_line(line)
        if entry is None:
            self.partial = True
        return entry
