"""bytes -> records of hex pairs: upper case, no blanks, as many whole bytes as fit (CONTRACT section 5)."""

from gateway.extract.plan import Record


class HexDump:
    """Records of `room` characters, at least two; the last one is padded with blanks."""

    def __init__(self, room: int) -> None:
        self._room = room
        self._bytes = room // 2
        self._held = b""

    def feed(self, data: bytes) -> list[Record]:
        """The records that are complete with these bytes."""
        data = self._held + data
        whole = len(data) - len(data) % self._bytes
        self._held = data[whole:]
        return [self._record(data[start : start + self._bytes]) for start in range(0, whole, self._bytes)]

    def finish(self, ended: bool = True) -> list[Record]:
        """The bytes that fill no record. Where the document ends shows nowhere."""
        held, self._held = self._held, b""
        return [self._record(held)] if held else []

    def wanted(self, records: int) -> int:
        """How many bytes so many records show."""
        return max(1, records) * self._bytes

    def _record(self, data: bytes) -> Record:
        return Record(data.hex().upper().ljust(self._room))
