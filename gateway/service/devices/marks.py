"""What the system marks as broken -> bytes as they came, with 1Ah for each that came broken.

IEEE Std 1003.1, general terminal interface, PARMRK: FFh 00h X is a character X with a wrong parity or stop
bit, FFh FFh is a whole FFh. 1Ah is SUB, which stands for a character that was found to be in error (ECMA-48):
in a request it makes a 500, where a character less, or another one, could make another request.
"""

from typing import Final

_MARK: Final = 0xFF
_SUBSTITUTE: Final = 0x1A


class Marks:
    """Takes bytes in whatever pieces they come."""

    def __init__(self) -> None:
        self._before = b""  # of a mark whose rest has not come

    def off(self, data: bytes) -> bytes:
        """The characters in `data`, as far as they are complete."""
        if not self._before and _MARK not in data:
            return data
        data = self._before + data
        found = bytearray()
        at = 0
        while at < len(data):
            if data[at] != _MARK:
                found.append(data[at])
                at += 1
                continue
            length = 3 if data[at + 1 : at + 2] == b"\0" else 2
            if at + length > len(data):
                break
            found.append(_SUBSTITUTE if length == 3 else data[at + 1])
            at += length
        self._before = data[at:]
        return bytes(found)
