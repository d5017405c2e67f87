"""The libraries' own logs, silenced: they write URLs, header fields and with them passwords and keys."""

import logging
from typing import Final

_TALKERS: Final = (
    "httpx",
    "httpcore",
    "httpcore.connection",
    "httpcore.http11",
    "httpcore.http2",
    "httpcore.proxy",
    "httpcore.socks",
)


class _Nothing(logging.Filter):
    def filter(self, record: logging.LogRecord) -> bool:
        return False


_NOTHING: Final = _Nothing()


def silence_libraries() -> None:
    """Let none of their records through, whatever levels a log configuration sets later.

    What they would tell is told by the errors that the adapter raises. Levels go up too, as a record
    that is not made costs nothing.
    """
    for name in _TALKERS:
        logger = logging.getLogger(name)
        logger.addFilter(_NOTHING)  # adding it twice changes nothing
        logger.setLevel(logging.CRITICAL)
