"""Bytes wanted -> room for them, or NoRoom: how much the spool holds, and how much it may."""

import threading

from adapters import limits
from adapters.errors import NoRoom
from gateway.service.spool.folder import SpoolFolder


class Ledger:
    """The sizes of all jobs and drafts by number. Methods may be called from any thread.

    Other processes remove jobs too, and that shows when the folder is looked at again: before anybody is
    refused.
    """

    def __init__(self, folder: SpoolFolder) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._refs: dict[int, str] = {}
        self._sizes: dict[int, int] = {}
        self._total = 0
        self._look_again()

    def opened(self, number: int) -> None:
        """A new draft. NoRoom where there are too many jobs, or the disk is as good as full."""
        with self._lock:
            if len(self._sizes) >= limits.SPOOL_JOBS:
                self._look_again()
                if len(self._sizes) >= limits.SPOOL_JOBS:
                    raise NoRoom("Too many transfers are waiting")
            self._sizes[number] = 0
        self.grown(number, 0)

    def grown(self, number: int, size: int) -> None:
        """`size` more bytes are about to be written. NoRoom: they are not to be."""
        if size > self.folder.free():
            raise NoRoom("The gateway's disk is full")
        with self._lock:
            if self._total + size > limits.SPOOL_BYTES:
                self._look_again()
                if self._total + size > limits.SPOOL_BYTES:
                    raise NoRoom("The gateway keeps too much already")
            self._sizes[number] = self._sizes.get(number, 0) + size
            self._total += size

    def sealed(self, number: int, ref: str) -> None:
        """That one is a job for `ref`."""
        with self._lock:
            self._refs[number] = ref

    def numbers(self, ref: str) -> list[int]:
        """The jobs for a ref, oldest first, as far as they are known."""
        with self._lock:
            return sorted(number for number, each in self._refs.items() if each == ref)

    def gone(self, number: int) -> None:
        """That one takes up no room any more."""
        with self._lock:
            self._total -= self._sizes.pop(number, 0)
            self._refs.pop(number, None)

    def _look_again(self) -> None:
        there = self.folder.size(self.folder.look().parts)
        self._sizes = there
        self._refs = {number: ref for number, ref in self._refs.items() if number in there}
        self._total = sum(there.values())
