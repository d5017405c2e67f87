"""Content coding and raw bytes -> a body, never larger than its limits (RFC 9110 section 8.4, RFC 1952).

Only `gzip` is asked for and only `gzip` is read. Members are expanded one after another, in steps of
limits.EXPAND_STEP_BYTES, each checked to its end (CRC and length). What users expect where servers err:

| body | outcome |
| --- | --- |
| labelled gzip, does not begin with 1f 8b | taken as it is |
| several members | all of them, joined (RFC 1952 section 2.2) |
| zero bytes between or after members | skipped, as gzip(1) and Python's gzip do |
| other bytes after a member | BrokenOff, as Python's gzip has it |
| cut short, wrong CRC or length, not deflate | BrokenOff |
| more raw bytes than asked for, more expanded bytes or members than limits allow | TooLarge |
| any other coding, or several | WrongDocument |
"""

import zlib
from collections.abc import Iterator
from typing import Final

from adapters import limits
from adapters.errors import BrokenOff, TooLarge, WrongDocument

_GZIP_MAGIC: Final = b"\x1f\x8b"
_GZIP_WINDOW: Final = 16 + zlib.MAX_WBITS  # zlib's way to say: a gzip member and nothing else


def is_gzip(content_encoding: str) -> bool:
    """Whether the field's value means gzip, or nothing. WrongDocument for every other coding."""
    codings = [coding.strip(" \t").lower() for coding in content_encoding.split(",")]
    real = [coding for coding in codings if coding not in ("", "identity")]
    if real in (["gzip"], ["x-gzip"]):  # RFC 9110 section 8.4.1.3
        return True
    if real:
        raise WrongDocument("The document's encoding is not known")
    return False


class Expander:
    """Takes what arrives and gives what it stands for, in steps of at most limits.EXPAND_STEP_BYTES."""

    def __init__(self, members: int | None = None) -> None:
        self._most_members = members
        self.packed = True
        self._head = b""
        self._member: zlib._Decompress | None = None
        self._members = 0

    def feed(self, data: bytes) -> Iterator[bytes]:
        """The next raw bytes, in pieces of any size. TooLarge, BrokenOff."""
        if self.packed and self._members == 0:
            data = self._head + data
            self._head = b""
            if len(data) < len(_GZIP_MAGIC):
                self._head = data
                return
            self.packed = data.startswith(_GZIP_MAGIC)
        if self.packed:
            yield from self._expand(data)
        elif data:
            yield data

    def finish(self) -> bytes:
        """The rest. BrokenOff where the last member is not complete."""
        if self._member is not None or self._head == _GZIP_MAGIC[:1]:
            raise BrokenOff("The far server's gzip is cut short")
        return self._head

    def _expand(self, data: bytes) -> Iterator[bytes]:
        while True:
            if self._member is None:
                data = data.lstrip(b"\0") if self._members else data
                if not data:
                    return
                self._members += 1
                if self._most_members is not None and self._members > self._most_members:
                    raise TooLarge("The document is too large")
                self._member = zlib.decompressobj(_GZIP_WINDOW)
            try:
                part = self._member.decompress(data, limits.EXPAND_STEP_BYTES)
            except zlib.error as error:
                raise BrokenOff("The far server's gzip is broken") from error
            if part:
                yield part
            if self._member.eof:
                data = self._member.unused_data
                self._member = None
            else:
                data = self._member.unconsumed_tail
                if not data:  # what zlib still holds back comes with the next bytes: a trailer always follows
                    return


class Body:
    """Feed it what arrives, then finish it."""

    def __init__(self, *, gzip: bool, raw_limit: int, expanded_limit: int = limits.EXPANDED_BYTES) -> None:
        self._raw_room = raw_limit
        self._room = expanded_limit
        self._expander = Expander(limits.GZIP_MEMBERS) if gzip else None
        self._parts: list[bytes] = []
        self._size = 0

    def feed(self, data: bytes) -> Iterator[int]:
        """The next raw bytes, in pieces of any size: they are taken in step by step, and each tells how many
        bytes of the body there are. TooLarge, BrokenOff.
        """
        self._raw_room -= len(data)
        if self._raw_room < 0:
            raise TooLarge("The document is too large")
        if self._expander is None:
            yield self._add(data)
            return
        for part in self._expander.feed(data):
            if self._expander.packed:
                self._room -= len(part)
                if self._room < 0:
                    raise TooLarge("The document is too large")
            yield self._add(part)

    def _add(self, part: bytes) -> int:
        self._parts.append(part)
        self._size += len(part)
        return self._size

    def finish(self) -> bytes:
        """The whole body. BrokenOff where the last member is not complete."""
        if self._expander is not None:
            self._parts.append(self._expander.finish())
        parts = [part for part in self._parts if part]
        return parts[0] if len(parts) == 1 else b"".join(parts)  # one part is not copied
