"""The first bytes of what a server says -> whether a final answer is among them (RFC 9112 section 4)."""

import re
from typing import Final

_INTERIM: Final = re.compile(rb"HTTP/1\.[0-9] 1[0-9][0-9]")  # RFC 9110 section 15.2
_LONGEST: Final = len(b"HTTP/1.1 100")


def final_status(head: bytes) -> bool:
    """Whether more than interim answers (1xx) is here; what is no HTTP counts as final.

    While that cannot be told yet, it is not.
    """
    position = 0
    while True:
        begin = head[position : position + _LONGEST]
        if len(begin) < _LONGEST:
            return bool(begin) and not b"HTTP/1.".startswith(begin[:7])
        if _INTERIM.match(begin) is None:
            return True
        end = head.find(b"\r\n\r\n", position)
        if end < 0:
            return False
        position = end + 4
