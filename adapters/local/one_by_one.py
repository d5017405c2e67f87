"""Work of threads that hampers them all side by side -> one after the other, as long as each is quick."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager


class OneByOne:
    """Each system call lets the interpreter's lock go and takes it again, and of several threads that make
    thousands none gets on, nor does anybody else: eight listings of a thousand names at one time made a
    thousand clients wait thirty times as long as one after the other.

    A disk that hangs must hold up no others: after `patience` seconds of one work the next begins beside it.
    """

    def __init__(self, patience: float) -> None:
        self._patience = patience
        self._change = threading.Condition()
        self._turn: object | None = None
        self._since = 0.0

    @contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for the turn, and have it; blocks."""
        mine = object()
        with self._change:
            while self._turn is not None and (left := self._since + self._patience - time.monotonic()) > 0:
                self._change.wait(left)
            self._turn, self._since = mine, time.monotonic()
        try:
            yield
        finally:
            with self._change:
                if self._turn is mine:  # else it took too long, and the turn is another's
                    self._turn = None
                    self._change.notify()
