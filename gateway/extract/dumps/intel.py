"""bytes -> Intel HEX records that fit the columns, padded with blanks.

The format is that of "Hexadecimal Object File Format Specification", revision A, Intel, 6 January 1988 (from
memory): `:LLAAAATT`, LL data bytes, and a checksum that makes all bytes of the record sum to 0 modulo 256.
Used are its data (00), end of file (01) and extended linear address (04) records; a data record never goes
over a 64 KB border. Addresses are offsets in the document. The end of file record stands at the document's
end only: part of a document has none, so that the parts can be put together.
"""

from typing import Final

from gateway.extract.plan import Record

_AROUND: Final = 11  # characters of a record beside its data
_USUAL_BYTES: Final = 16  # more than loaders commonly expect in one record helps nobody
_SEGMENT: Final = 1 << 16
_HIGHEST: Final = (1 << 32) - 1

_DATA: Final = 0x00
_END_OF_FILE: Final = 0x01
_EXTENDED_LINEAR_ADDRESS: Final = 0x04


class IntelDump:
    """Records of `room` characters, at least 15, of the bytes from `offset` on.

    An address beyond 32 bits, which the format cannot say, starts again at 0.
    """

    def __init__(self, room: int, offset: int = 0) -> None:
        self._room = room
        self._bytes = max(1, min(_USUAL_BYTES, (room - _AROUND) // 2))
        self._address = offset
        self._upper = 0  # what a reader takes for the upper half of addresses
        self._held = b""

    def feed(self, data: bytes) -> list[Record]:
        """The records that are complete with these bytes."""
        return self._records(self._held + data, whole=True)

    def finish(self, ended: bool = True) -> list[Record]:
        """The bytes that fill no record, and the end of file record where the document ends."""
        records = self._records(self._held, whole=False)
        if ended:
            records.append(self._record(0, _END_OF_FILE, b""))
        return records

    def wanted(self, records: int) -> int:
        """How many bytes so many data records show."""
        return max(1, records) * self._bytes

    def _records(self, data: bytes, whole: bool) -> list[Record]:
        records: list[Record] = []
        start = 0
        while start < len(data):
            address = self._address & _HIGHEST
            count = min(self._bytes, _SEGMENT - address % _SEGMENT)
            if whole and len(data) - start < count:
                break
            upper = address // _SEGMENT
            if upper != self._upper:
                records.append(self._record(0, _EXTENDED_LINEAR_ADDRESS, upper.to_bytes(2, "big")))
                self._upper = upper
            part = data[start : start + count]
            records.append(self._record(address % _SEGMENT, _DATA, part))
            start += len(part)
            self._address += len(part)
        self._held = data[start:]
        return records

    def _record(self, address: int, kind: int, data: bytes) -> Record:
        body = bytes((len(data), address >> 8, address & 0xFF, kind)) + data
        checksum = -sum(body) & 0xFF
        return Record(f":{body.hex().upper()}{checksum:02X}".ljust(self._room))
