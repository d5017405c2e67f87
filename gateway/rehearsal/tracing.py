"""Sessions that happen -> a script that says them again.

Every byte that comes and goes is in it, in its order, each line as soon as its end is known, so that a script
is whole up to its last line whenever the gateway ends. Secrets that the gateway knows are not in it: what is
said holds `***` instead, and what is heard `{any}`.
"""

import logging
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from adapters import limits
from adapters.redaction import Redactor
from gateway.rehearsal.script.patterns import Any, Literal, Part, Pattern
from gateway.rehearsal.script.steps import (
    Close,
    Closed,
    Dial,
    Ends,
    Finish,
    Hear,
    On,
    Put,
    Reset,
    Say,
    Step,
    Take,
)
from gateway.rehearsal.script.writing import shown

_log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Piece:
    """Bytes that went one way without a break."""

    said: bool
    data: bytearray = field(default_factory=bytearray)


@dataclass(slots=True)
class _Session:
    name: str
    pieces: list[_Piece] = field(default_factory=list)
    size: int = 0
    finished: bool = False


class Trace:
    """A script that is being written to a new file, which only its owner may read.

    OSError as the disk gives it when the file is opened. Later on the log is told, and sessions that are
    under way end there, each line whole; those that begin once the disk takes them again are kept.
    """

    def __init__(self, path: Path, redactor: Redactor) -> None:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        self._file: BinaryIO | None = os.fdopen(descriptor, "wb", buffering=0)
        self._path, self._redactor = path, redactor
        self._sessions: dict[int, _Session] = {}
        self._cut: list[str] = []  # sessions whose rest did not fit
        self._count = 0
        self._current = ""
        self._ends = Ends()
        self._write(
            "# Sessions as they were, for `headrace rehearse`. Look through it before you give it away."
        )

    def begin(self, listener: int) -> int:
        """A client has come to the listener of that number, from 1; the session's number."""
        self._count += 1
        if self._end_cut():
            self._current = f"c{self._count}"
            self._sessions[self._count] = _Session(self._current)
            self._write(shown(Dial(self._current, listener)))
        return self._count

    def said(self, number: int, data: bytes) -> None:
        """The client sent bytes."""
        self._add(number, data, said=True)

    def heard(self, number: int, data: bytes) -> None:
        """The gateway sent bytes."""
        self._add(number, data, said=False)

    def finished(self, number: int) -> None:
        """The client sends no more."""
        session = self._sessions.get(number)
        if session is not None and not session.finished:
            session.finished = True
            self._flush(session)
            self._step(session, Finish())

    def over(self, number: int, how: Closed | Close | Reset) -> None:
        """The line is gone: the gateway hung up, the client did, or the client cut it."""
        session = self._sessions.pop(number, None)
        if session is not None:
            self._flush(session)
            self._step(session, how)

    def close(self) -> None:
        """Nothing more is written."""
        if self._file is not None:
            file, self._file = self._file, None
            file.close()

    def discard(self) -> None:
        """Nothing came: the file goes, so that its name is free."""
        self.close()
        with suppress(OSError):
            self._path.unlink()

    def _add(self, number: int, data: bytes, *, said: bool) -> None:
        session = self._sessions.get(number)
        if session is None:
            return
        session.size += len(data)
        if session.size > limits.TRACE_SESSION_BYTES:
            del self._sessions[number]
            self._flush(session)
            self._write(f"# the rest of {session.name} is left out")
            self._step(session, Reset())  # what would come now is not expected
            return
        if not session.pieces or session.pieces[-1].said is not said:
            session.pieces.append(_Piece(said))
        session.pieces[-1].data += data
        while len(session.pieces) > 1:
            self._emit(session, session.pieces.pop(0), whole=True)
        self._emit(session, session.pieces[0], whole=False)

    def _flush(self, session: _Session) -> None:
        for piece in session.pieces:
            self._emit(session, piece, whole=True)
        session.pieces.clear()

    def _emit(self, session: _Session, piece: _Piece, *, whole: bool) -> None:
        """Its lines; and the rest of it too where it is whole, or where its line gets too long."""
        for line, end in _lines(piece.data, whole=whole):
            ends = Ends(end, self._ends.heard) if piece.said else Ends(self._ends.said, end)
            if ends != self._ends:
                self._ends = ends
                self._step(session, ends)
            self._step(session, Say(self._clean(line)) if piece.said else Hear(self._pattern(line)))
        if piece.data and (whole or len(piece.data) > limits.TRACE_LINE_BYTES):
            rest = bytes(piece.data)
            piece.data.clear()
            self._step(session, Put(self._clean(rest)) if piece.said else Take(self._taken(rest)))

    def _clean(self, data: bytes) -> bytes:
        return self._redactor.clean(data.decode("latin-1")).encode("latin-1")

    def _pattern(self, data: bytes) -> Pattern:
        parts: list[Part] = []
        place = 0
        for start, end in self._redactor.known_in(data.decode("latin-1")):
            parts += [Literal(data[place:start]), Any()] if start > place else [Any()]
            place = end
        return Pattern((*parts, Literal(data[place:])) if place < len(data) else tuple(parts))

    def _taken(self, data: bytes) -> Pattern:
        """A secret at its end has its width there: no line end tells where it is over."""
        pattern = self._pattern(data)
        if not pattern.parts or not isinstance(pattern.parts[-1], Any):
            return pattern
        start, end = self._redactor.known_in(data.decode("latin-1"))[-1]
        return Pattern((*pattern.parts[:-1], Any(end - start)))

    def _step(self, session: _Session, step: Step) -> None:
        if session.name != self._current:
            self._current = session.name
            self._write(shown(On(session.name)))
        self._write(shown(step))

    def _end_cut(self) -> bool:
        """Sessions that did not fit end where they are; whether the disk took that."""
        while self._cut:
            self._current = self._cut[0]
            ended = f"{shown(On(self._current))}\n# the rest of {self._current} is left out\n{shown(Reset())}"
            if not self._put(ended):
                return False
            self._cut.pop(0)
            if not self._cut:
                _log.warning("the trace goes on")
        return True

    def _write(self, line: str) -> None:
        if not self._cut and not self._put(line):
            self._cut = [each.name for each in self._sessions.values()]
            self._sessions.clear()

    def _put(self, text: str) -> bool:
        """Whole lines, or none of them."""
        if self._file is None:
            return True
        size = os.fstat(self._file.fileno()).st_size
        left = memoryview(f"{text}\n".encode("ascii"))
        try:
            while left:
                left = left[self._file.write(left) or 0 :]
        except OSError as error:
            if not self._cut:
                _log.error("the trace stops here: %s", error.strerror or error)
            with suppress(OSError):
                os.ftruncate(self._file.fileno(), size)
                self._file.seek(size)
            return False
        return True


def _lines(data: bytearray, *, whole: bool) -> Iterator[tuple[bytes, bytes]]:
    """Lines at the beginning of `data`, which are taken off it, and their ends.

    A CR that comes last may be half of CR LF, where the piece is not whole.
    """
    while True:
        places = [at for at in (data.find(b"\r"), data.find(b"\n")) if at >= 0]
        if not places:
            return
        at = min(places)
        if data[at : at + 1] == b"\r" and at + 1 == len(data) and not whole:
            return
        end = bytes(data[at : at + 2]) if data[at : at + 2] == b"\r\n" else bytes(data[at : at + 1])
        line = bytes(data[:at])
        del data[: at + len(end)]
        yield line, end
