"""READ: bytes of a document -> pages of records or of bare bytes, asked for as they are paged through.

Of the document only one window is kept, at least limits.READ_WINDOW_BYTES where there are so many, and of
what was laid out only the page, as its bytes. How it is laid out is settled when READ comes; a page's size,
mark and capitals when the page is asked for. A page of ihex or lines has limits.READ_PAGE_BYTES of text at
most, blanks at the ends of records not counted.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from adapters import limits
from adapters.errors import WrongMoment, WrongWords
from adapters.files import Stat
from gateway.catalogue.calling.targets import Ref
from gateway.extract.dumps import Dump, HexDump, dump_for
from gateway.extract.fields.text import Lettering
from gateway.session.files.keeping import CompactRecords, HexRecords, PackedRecords
from gateway.session.files.refs import typed_ref
from gateway.session.memory import Weights
from gateway.session.pages import Pages, check_raw_bytes, page_size, record_index
from gateway.session.state import State
from gateway.session.steps import Asking, Steps, granted, worked
from gateway.session.wishes import Part, Provenance, ReadWish
from gateway.wire.replies import Reply
from gateway.wire.settings import Settings

_BLOCK: Final = re.compile(r"[Bb]([0-9]+)", re.ASCII)
_USAGE: Final = "Wanted: READ ref [offset [n]] or ref Bn"


def read(state: State, words: Sequence[str]) -> Steps:
    """READ ref [offset [count]], or READ ref Bn: the first page, and a cursor for the others."""
    if not 1 <= len(words) <= 3:
        raise WrongWords(_USAGE)
    block = _BLOCK.fullmatch(words[1]) if len(words) > 1 else None
    count: int | None
    if block is None:
        offset = _number(words[1]) if len(words) > 1 else 0
        count = _number(words[2]) if len(words) > 2 else None
    elif len(words) > 2:
        raise WrongWords("Wanted: READ ref Bn")
    else:
        count = state.settings.block
        offset = _sane(_number(block[1]) * count)
    ref = typed_ref(state, words[0])
    window = _Window(ref, offset, count)
    pages: _Bare | _Hexed | _Dumped
    if state.settings.bytes == "raw":
        pages = _Bare(window)
    else:
        state.check_width(state.room)
        if state.settings.bytes == "hex":
            pages = _Hexed(window, state.room)
        else:
            lettering = Lettering(state.style.charset, state.world.catalogue().gateway.letters)
            dump = dump_for(state.settings.bytes, state.room, offset, lettering)
            pages = _Dumped(window, dump, state.room, exact=state.settings.bytes == "ihex")
    state.cursor = pages
    try:
        reply = yield from pages.next_page(state.settings)
    except BaseException:
        state.cursor = None
        raise
    size = window.size
    state.account(pages.account, [] if size is None else [("SIZE", f"{size} bytes in all")])
    return reply


def _number(word: str) -> int:
    if not (word.isascii() and word.isdigit() and len(word) <= limits.LINE_BYTES):
        raise WrongWords(_USAGE)
    return _sane(int(word))


def _sane(number: int) -> int:
    if number > limits.DOCUMENT_BYTES:
        raise WrongWords("No document is as long as that")
    return number


class _Window:
    """The bytes that were asked for, of which some are here and some still at the far server."""

    def __init__(self, ref: Ref, offset: int, count: int | None) -> None:
        self._ref = ref
        self._position = offset  # of the next byte to ask for
        self._left = count  # of those asked for by the client, not yet here; None: all there are
        self._same: Stat | None = None
        self._last = False
        self.here = bytearray()
        self.size: int | None = None
        self.provenance: Provenance | None = None  # of what came last; None: nothing was asked for yet

    @property
    def whole(self) -> bool:
        """Whether nothing more is to come."""
        return self._last or (self._left == 0 and self.provenance is not None)

    @property
    def ended(self) -> bool:
        """Whether the document ends with what is here."""
        return self._last

    def fill(self, count: int) -> Asking[None]:
        """Ask until `count` bytes are here, or there are no more; at least once, to see what is there."""
        while len(self.here) < count and not self.whole:
            want = max(count - len(self.here), limits.READ_WINDOW_BYTES)
            if self._left is not None:
                want = min(want, self._left)
            wish = ReadWish(self._ref, self._position, max(want, 1), self._same)
            part = yield from granted(wish, Part)
            data = part.data[:want]
            self.here += data
            self._position += len(data)
            self._last = part.last or not part.data
            if self._left is not None:
                self._left -= len(data)
            self._same, self.size, self.provenance = part.stat, part.size, part.provenance

    def take(self, count: int) -> bytes:
        """Up to `count` bytes, which are then no longer here."""
        with memoryview(self.here) as here, here[:count] as part:
            data = bytes(part)
        del self.here[:count]
        return data


class _Reading(Pages):
    """What both forms have in common: the window, and the page shown last."""

    def __init__(self, window: _Window, width: int) -> None:
        super().__init__(width)
        self._window = window
        self._last: Reply | None = None

    @property
    def kept(self) -> Weights:
        """What was fetched and not yet shown, and the page shown last."""
        shown = 0 if self._last is None else self._shown_bytes(self._last)
        return ((self, len(self._window.here) + shown),)

    @staticmethod
    def _shown_bytes(reply: Reply) -> int:
        if reply.raw is not None:
            return len(reply.raw)
        return reply.records.size if isinstance(reply.records, CompactRecords) else 0

    def _shown(self, reply: Reply, empty: bool) -> Reply:
        """Note a page; one past the end leaves the last one to be repeated."""
        self.account = self._window.provenance
        if self._last is None or not empty:
            self._last = reply
        self._moved(len(reply.records if reply.raw is None else reply.raw))
        return reply

    def _repeated(self) -> Reply:
        assert self._last is not None  # a cursor is kept once its first page is there
        return self._last

    def again(self, number: str | None) -> Reply:
        """The last page, or its record `number` (from 1)."""
        last = self._repeated()
        if number is None:
            return last
        return replace(last, records=(last.records[record_index(number, len(last.records))],))


class _Bare(_Reading):
    """Bare bytes: each counts as a record of one character."""

    def __init__(self, window: _Window) -> None:
        super().__init__(window, 1)

    def next_page(self, settings: Settings) -> Steps:
        """As many bytes as a page may have. WrongMoment where some of them would be flow control."""
        check_raw_bytes(settings)
        size = page_size(settings)
        yield from self._window.fill(size + 1)
        data = self._window.take(size)
        more = bool(self._window.here)
        return self._shown(Reply(200, settings, width=1, more=more, raw=data), not data)

    def again(self, number: str | None) -> Reply:
        """The last page, or its byte `number` (from 1)."""
        last = self._repeated()
        if number is None or last.raw is None:
            return last
        index = record_index(number, len(last.raw))
        return replace(last, raw=last.raw[index : index + 1])


class _Hexed(_Reading):
    """Hex records, each of which shows the same number of bytes: they are made when they are sent."""

    def next_page(self, settings: Settings) -> Steps:
        """As many records as a page may have."""
        size, each = page_size(settings), HexDump(self.width).wanted(1)
        yield from self._window.fill((size + 1) * each)
        data = self._window.take(size * each)
        more = bool(self._window.here)
        records = HexRecords(data, self.width)
        return self._shown(Reply(200, settings, records, self.width, more, exact=True), not data)


class _Dumped(_Reading):
    """Records that a dump makes of the bytes, as many at a time as a page takes."""

    def __init__(self, window: _Window, dump: Dump, width: int, exact: bool) -> None:
        super().__init__(window, width)
        self._dump = dump
        self._exact = exact
        self._ready = PackedRecords(width)
        self._any = False
        self._finished = False
        self._broken = False

    def next_page(self, settings: Settings) -> Steps:
        """As many records as a page may have, and one more to know whether more wait."""
        size = page_size(settings)
        if self._broken:
            raise WrongMoment("Its page was given up; READ again")
        most = limits.READ_PAGE_BYTES
        while len(self._ready) <= size and self._ready.size <= most and not self._finished:
            wanted = min(self._dump.wanted(size + 1 - len(self._ready)), most + 1 - self._ready.size)
            if not self._window.here:
                yield from self._window.fill(wanted)
            data = self._window.take(min(wanted, limits.CHUNK_BYTES))  # a byte may make a record
            if data:
                self._any = self._broken = True  # until it is laid out: it may be given up half way
                self._ready.add((yield from worked(len(data), partial(self._laid_out, data))))
                self._broken = False
            if self._window.whole and not self._window.here:
                self._finished = True
                if self._any:
                    last = self._dump.finish(self._window.ended)
                    self._ready.add(PackedRecords(self.width, (each.text for each in last)))
        page = self._ready.split(size, most)
        more = bool(self._ready)
        return self._shown(Reply(200, settings, page, self.width, more, exact=self._exact), not page)

    def _laid_out(self, data: bytes) -> PackedRecords:
        return PackedRecords(self.width, (each.text for each in self._dump.feed(data)))
