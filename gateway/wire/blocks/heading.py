"""Document <-> block 0 of YMODEM: a name, NUL, then size, time and more as digits, then NULs.

The size is decimal, the time octal seconds since 1970 in UTC, 0 for unknown; what may follow (mode, serial
number, what is left of the batch) is not read. A block that begins with NUL ends the batch.
"""

import re
from typing import Final

from gateway.wire.blocks import frame
from gateway.wire.blocks.effects import Document

LAST: Final = bytes(frame.SIZES[frame.SOH])
"""The block 0 behind the last document."""

UNNAMED: Final = "document"
"""Stands for a name of which nothing is left."""

_NUMBERS: Final = re.compile(rb"([0-9]{1,18})(?: +([0-7]{1,18}))?(?: |\Z)")
_HARMLESS: Final = re.compile(r"[^\x00-\x1f\x7f-\x9f]+")


def write(document: Document) -> bytes:
    """Block 0's data. ValueError for a name that is empty, too long or has a control character."""
    if not document.name or not _HARMLESS.fullmatch(document.name):
        raise ValueError("a name of printable characters is needed")
    text = document.name.encode("utf-8") + b"\0"
    if document.size is not None:
        text += b"%d" % document.size
        text += b" %o" % document.modified if document.modified is not None and document.modified > 0 else b""
    for size in sorted(frame.SIZES.values()):
        if len(text) < size:
            return text.ljust(size, b"\0")
    raise ValueError("the name is too long for a block")


def read(data: bytes) -> Document | None:
    """What block 0 says of the next document; None at the end of the batch. Never raises."""
    name, _, rest = data.partition(b"\0")
    if not name:
        return None
    numbers = _NUMBERS.match(rest.partition(b"\0")[0])
    size = int(numbers[1]) if numbers else None
    modified = int(numbers[2], 8) if numbers and numbers[2] else 0
    return Document(_bare(name), size, modified or None)


def _bare(name: bytes) -> str:
    try:
        text = name.decode("utf-8")
    except UnicodeDecodeError:
        text = name.decode("latin-1")
    last = "".join(_HARMLESS.findall(re.split(r"[/\\]", text)[-1])).strip()
    return UNNAMED if last in {"", ".", ".."} else last
