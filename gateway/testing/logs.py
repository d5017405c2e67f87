"""Log records of one gateway among several in a process -> its lines, with no secret in them."""

import logging
from typing import Final

from adapters.redaction import Redactor
from gateway.service.logs import LEVELS, LineFormatter
from gateway.testing.background import OWNER, Background

_LOGGERS: Final = ("gateway", "adapters")
_LOOP: Final = "asyncio"  # says what was raised where nobody waited

_open: list["Log"] = []
_before: dict[str, int] = {}


class Log(logging.Handler):
    """What one gateway logs from `level` on, until `end`. `lines` have no line ends; `errors` are those of
    them that tell of a failure of the gateway itself. ValueError: no such level.
    """

    def __init__(self, level: str, redactor: Redactor) -> None:
        if level.lower() not in LEVELS:
            raise ValueError(f"log is {' '.join(LEVELS)}")
        super().__init__(level.upper())
        self.lines: list[str] = []
        self.errors: list[str] = []
        self.owner: Background | None = None
        self.setFormatter(LineFormatter(redactor))
        for name in (*_LOGGERS, _LOOP):
            logging.getLogger(name).addHandler(self)
        _open.append(self)
        _set_levels()

    def emit(self, record: logging.LogRecord) -> None:
        """Take it if it is this gateway's, or nobody's, such as a disk thread's."""
        owner = OWNER.get()
        if owner is not self.owner and (owner is not None or record.name.partition(".")[0] == _LOOP):
            return
        line = self.format(record)
        self.lines.append(line)
        if record.levelno >= logging.ERROR:
            self.errors.append(line)

    def end(self) -> None:
        """Take no more."""
        for name in (*_LOGGERS, _LOOP):
            logging.getLogger(name).removeHandler(self)
        if self in _open:
            _open.remove(self)
            _set_levels()
        self.close()


def _set_levels() -> None:
    """The lowest level that an open log wants, and as it was where none is open."""
    for name in _LOGGERS:
        logger = logging.getLogger(name)
        if not _open:
            logger.setLevel(_before.pop(name))
            continue
        _before.setdefault(name, logger.level)
        wanted = min(each.level for each in _open)
        usual = _before[name] or logging.getLogger().level
        logger.setLevel(min(wanted, usual) if usual else wanted)
