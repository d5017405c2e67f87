"""Bytes of a document, or texts laid out -> the records of one page, in as little memory as that takes.

A page may have 99,999 records, and a client may read it slowly: what is kept of it are its bytes, from which
each record is made when it is sent.
"""

from abc import abstractmethod
from array import array
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from typing import Final, Self, overload

from gateway.extract.dumps import HexDump

_STRETCH: Final = 64  # records laid out at a time


class CompactRecords(Sequence[str]):
    """What the forms have in common: a slice is a list."""

    @property
    @abstractmethod
    def size(self) -> int:
        """Bytes kept of them."""

    @abstractmethod
    def _at(self, index: int) -> str:
        """One record, by its index from 0."""

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[str]: ...
    def __getitem__(self, index: int | slice) -> str | Sequence[str]:
        places = range(len(self))[index]
        return self._at(places) if isinstance(places, int) else [self._at(each) for each in places]


class HexRecords(CompactRecords):
    """Hex records of `width` characters that show `data`."""

    def __init__(self, data: bytes, width: int) -> None:
        self._data = data
        self._width = width
        self._bytes = HexDump(width).wanted(1)

    @property
    def size(self) -> int:
        """Bytes kept of the document."""
        return len(self._data)

    def __len__(self) -> int:
        return len(range(0, len(self._data), self._bytes))

    def __iter__(self) -> Iterator[str]:
        dump, step = HexDump(self._width), self._bytes * _STRETCH
        for start in range(0, len(self._data), step):
            for record in dump.feed(self._data[start : start + step]):
                yield record.text
        for record in dump.finish():
            yield record.text

    def _at(self, index: int) -> str:
        dump = HexDump(self._width)
        part = self._data[index * self._bytes : (index + 1) * self._bytes]
        return [*dump.feed(part), *dump.finish()][0].text


class PackedRecords(CompactRecords):
    """Texts of `width` characters each, kept as UTF-8 without the blanks at their ends."""

    def __init__(self, width: int, texts: Iterable[str] = ()) -> None:
        self._width = width
        kept = [text.rstrip(" ").encode() for text in texts]
        self._text = bytearray().join(kept)
        self._lengths = array("H", map(len, kept))

    def __len__(self) -> int:
        return len(self._lengths)

    def __iter__(self) -> Iterator[str]:
        end = 0
        for length in self._lengths:
            start, end = end, end + length
            yield self._text[start:end].decode().ljust(self._width)

    def _at(self, index: int) -> str:
        start = sum(self._lengths[:index])
        return self._text[start : start + self._lengths[index]].decode().ljust(self._width)

    @property
    def size(self) -> int:
        """Bytes kept of the texts."""
        return len(self._text)

    def add(self, more: "PackedRecords") -> None:
        """Append records of the same width."""
        self._text += more._text
        self._lengths += more._lengths

    def split(self, count: int, most: int) -> Self:
        """Take away the first `count` records, fewer where their texts have more than `most` bytes."""
        ends = list(accumulate(self._lengths[:count]))
        if ends and ends[-1] > most:
            ends = ends[: max(1, bisect_right(ends, most))]
        taken = type(self)(self._width)
        end = ends[-1] if ends else 0
        taken._text, taken._lengths = self._text[:end], self._lengths[: len(ends)]
        del self._text[:end], self._lengths[: len(ends)]
        return taken
