"""reply -> the lines that a client takes at a time, and which come next (CONTRACT section 5, `window`)."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import overload

from gateway.session.pages import record_index
from gateway.wire.replies import Reply, encode_lines


class Window:
    """A reply of which `size` lines go out before the client is waited for; `eol` and `escape_iac` are those
    it began with, `page` the page that it is the rest of. Lines are made when they are sent: a repeated one
    costs no memory.
    """

    def __init__(
        self, reply: Reply, size: int, eol: bytes, escape_iac: bool, page: Reply | None = None
    ) -> None:
        self.page = page or reply
        self._reply = reply
        self._size = size
        self._eol = eol
        self._escape_iac = escape_iac
        self._start = 0

    @property
    def status_line(self) -> str:
        """The status line that it began with."""
        return self._reply.status_line

    @property
    def failed(self) -> bool:
        """Whether it is an error's reply: none of its records is what a client means by a number."""
        return self.page.code >= 400

    def lines(self) -> Iterator[bytes]:
        """The lines that are the client's to acknowledge: at first the status line and what follows it."""
        return encode_lines(self._reply, self._eol, self._escape_iac, self._start, self._start + self._size)

    def advance(self) -> bool:
        """The client has them; whether others follow."""
        reply = self._reply
        count = 1 + (len(reply.records) if reply.raw is None else bool(reply.raw))
        if self._start + self._size >= count:
            return False
        self._start += self._size
        return True


def rest_of(page: Reply, number: str) -> Reply:
    """The page from its record `number` (from 1) on, as a reply of its own."""
    if page.raw is not None:
        return replace(page, raw=page.raw[record_index(number, len(page.raw)) :])
    return replace(page, records=_Rest(page.records, record_index(number, len(page.records))))


class _Rest(Sequence[str]):
    """Records from `start` on, seen through without a copy."""

    def __init__(self, records: Sequence[str], start: int) -> None:
        self._records = records
        self._start = start

    def __len__(self) -> int:
        return len(self._records) - self._start

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[str]: ...
    def __getitem__(self, index: int | slice) -> str | Sequence[str]:
        places = range(self._start, len(self._records))[index]
        if isinstance(places, int):
            return self._records[places]
        return [self._records[each] for each in places]
