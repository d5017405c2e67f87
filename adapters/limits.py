"""Every limit of the house, by name: one place to read them, one place to change them.

Sizes are in bytes, times in seconds, unless a name says otherwise.
"""

from typing import Final

# The line (CONTRACT section 1)
LINE_BYTES: Final = 255  # a request before its end
DATA_BYTES: Final = 1 << 20  # one data line of a transfer, which has no length limit of its own
PIPELINE_BYTES: Final = 16_384  # unread input kept for one client before reading stops

# Replies (CONTRACT section 2)
PAGE_RECORDS: Final = 99_999  # what five digits can count
RECORD_WIDTH: Final = 255  # what a classic BASIC string holds
COLUMNS_MIN: Final = 16  # narrower than a status line makes no sense
TRANSFER_BYTES: Final = 4 << 20  # all data lines of one TELL

# Far documents
BODY_BYTES: Final = 16 << 20  # one document as it arrives
EXPANDED_BYTES: Final = 32 << 20  # the same, decompressed
REDIRECTS: Final = 8  # hops before a chain counts as a loop
HEADER_BYTES: Final = 65_536  # one response's header section
RETRY_SECONDS: Final = 86_400  # the longest wait that a reply tells

# Selection and numbers
DEPTH: Final = 200  # nesting of a JSON or XML document
DIGITS: Final = 1_000  # digits of one number, written out
MATCHES: Final = 200_000  # nodes that one path may select from one document
VISITS: Final = 5_000_000  # nodes that one path may look at
ROWS: Final = 200_000  # rows of one document
PATH_CHARACTERS: Final = 2_000  # one JSONPath or XPath
PATTERN_SECONDS: Final = 0.25  # one regular expression of match() or search() on one value

# Clients of the service
WRITE_BUFFER_BYTES: Final = 2_048  # unsent bytes at which a reply waits for its reader
SOCKET_SEND_BYTES: Final = 4_096  # the kernel's send buffer for one client
HOT_ANSWERS: Final = 2_000  # laid-out answers kept ready
BACKLOG: Final = 1_024  # connections that the kernel queues for a listener
STOP_MARGIN_SECONDS: Final = 2.0  # beyond `wait`, before a stopping gateway cuts lines
