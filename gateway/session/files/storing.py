"""STORE and APPEND: 350, then lines or counted bytes -> what is to be delivered whole (CONTRACT section 3).

Nothing is changed before the last line or byte has come. What is wrong with the data is told after the end.
"""

from collections.abc import Sequence

from adapters import limits
from adapters.errors import HeadraceError, NotARequest, NotPossible, TooLarge, WrongWords
from gateway.catalogue.model import LineEnd
from gateway.session.files.acting import done
from gateway.session.files.listed_names import Use
from gateway.session.files.refs import typed_ref, wanted, writable
from gateway.session.pages import check_raw_bytes
from gateway.session.state import State
from gateway.session.steps import Asking, Steps, granted
from gateway.session.wishes import DataWish, DeliverWish, Done, Staged, StageWish, Staging, Taken
from gateway.wire.charsets import decode_line
from gateway.wire.lines import LineReader
from gateway.wire.replies import Reply

_DIGITS = 19


def store(state: State, words: Sequence[str]) -> Steps:
    """STORE ref [count]: in the place of what is there."""
    return (yield from _begin(state, words, append=False))


def append(state: State, words: Sequence[str]) -> Steps:
    """APPEND ref [count]: at the end of what is there."""
    return (yield from _begin(state, words, append=True))


def counted(words: Sequence[str]) -> int | None:
    """How many raw bytes STORE's or APPEND's words announce; None where they announce none."""
    digits = words[1] if len(words) == 2 else ""
    if not (digits.isascii() and digits.isdigit() and len(digits) <= _DIGITS):
        return None
    return int(digits)


def _begin(state: State, words: Sequence[str], append: bool) -> Steps:
    count = counted(words)
    if not words or len(words) > 2 or (len(words) == 2 and count is None):
        usage = "APPEND ref [n]" if append else "STORE ref [count]"  # 40 columns
        raise wanted(usage, len(words) > 1)
    if count is not None:
        check_raw_bytes(state.settings)
    ref = writable(typed_ref(state, words[0], Use.PUT))
    if ref.is_folder:
        raise NotPossible("A folder takes no data; add a name")
    if count is not None and count > limits.SPOOL_BYTES:
        raise TooLarge(f"At most {limits.SPOOL_BYTES} bytes")
    staged = yield from granted(StageWish(ref, append), Staged)
    end = (ref.place.lines if ref.place is not None else None) or LineEnd.LF
    storing = _Lines(state, staged.staging, end) if count is None else _Bytes(state, staged.staging, count)
    state.listed_names.created(ref)
    state.transfer = storing
    return Reply(350, state.settings)


class _Storing:
    """What both ways have in common: gathering, handing on, and letting go of the staging once."""

    undone = "nothing stored"

    def __init__(self, state: State, staging: Staging) -> None:
        self.request = state.request_shown
        self._state = state
        self._staging = staging
        self._gathered = bytearray()
        self._fault: HeadraceError | None = None

    def spoil(self, error: HeadraceError) -> None:
        """The first fault is the one that is told; nothing of the data is wanted any more."""
        if self._fault is None:
            self._fault = error
        self.drop()

    def drop(self) -> None:
        """Forget what has been taken in."""
        self._gathered.clear()
        self._staging.drop()

    def flush(self) -> Asking[None]:
        """Hand on what is left."""
        if self._gathered:
            yield from self._hand_on(bytes(self._gathered))
            self._gathered.clear()

    def deliver(self) -> Steps:
        """From here on the staging is the service's."""
        if self._fault is not None:
            raise self._fault
        return done(self._state, (yield from granted(DeliverWish(self._staging), Done)))

    def _gather(self, data: bytes) -> Asking[None]:
        self._gathered += data
        while len(self._gathered) >= limits.STAGE_BYTES and self._fault is None:
            yield from self._hand_on(bytes(self._gathered[: limits.STAGE_BYTES]))
            del self._gathered[: limits.STAGE_BYTES]

    def _hand_on(self, data: bytes) -> Asking[None]:
        try:
            yield from granted(DataWish(self._staging, data), Taken)
        except HeadraceError as error:
            self.spoil(error)


class _Lines(_Storing):
    """Text in the client's charset, a line at a time, written as UTF-8 with the place's line end."""

    complete = False

    def __init__(self, state: State, staging: Staging, end: LineEnd) -> None:
        super().__init__(state, staging)
        self._end = end.data

    def begin(self, reader: LineReader) -> None:
        """Data lines of any length."""
        reader.data_lines = True

    def take(self, data: bytes, ends: bool) -> Asking[None]:
        """A data line, or the beginning of one."""
        if self._fault is not None:
            return
        try:
            text = decode_line(data, self._state.settings.charset)
        except NotARequest as error:
            self.spoil(WrongWords(error.sentence.replace("a request", "text")))
            return
        yield from self._gather(text.encode() + (self._end if ends else b""))


class _Bytes(_Storing):
    """Exactly so many raw bytes."""

    def __init__(self, state: State, staging: Staging, count: int) -> None:
        super().__init__(state, staging)
        self._count = self._left = count

    @property
    def complete(self) -> bool:
        """Whether all have come."""
        return self._left == 0

    def begin(self, reader: LineReader) -> None:
        """Raw bytes, from the very next one."""
        reader.expect(self._count)

    def take(self, data: bytes, ends: bool) -> Asking[None]:
        """Some of them, as they are."""
        self._left -= len(data)
        if self._fault is None:
            yield from self._gather(data)
