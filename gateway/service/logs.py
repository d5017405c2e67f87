"""LogRecord -> one line of logfmt on standard error, with no secret in it, whoever wrote the record.

    time=2026-11-25T08:00:00.000Z level=info logger=gateway.service.caching.cache message="served stale"

One record is one line of printable ASCII: a value with anything but plain characters in it is a JSON string
(RFC 8259 section 7), so no value can forge a line or a pair. Times are UTC (RFC 3339). What is passed as
`extra` follows as pairs of its own; a traceback is the value of `error`, a stack that of `stack`.
"""

import json
import logging
import re
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from types import TracebackType
from typing import Final, TextIO

from adapters import limits
from adapters.errors import HeadraceError
from adapters.redaction import HIDDEN, Redactor, names_secret

__all__ = ["LEVELS", "LineFormatter", "Redactor", "configure"]

LEVELS: Final = ("debug", "info", "warning", "error", "critical")

_PLAIN: Final = re.compile(r"[A-Za-z0-9_.:/@+*,-]+")
_NOT_A_NAME: Final = re.compile(r"[^A-Za-z0-9_]+")
_OWN: Final = frozenset({"time", "level", "logger", "message", "error", "stack"})
_RECORD: Final = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}
"""What every record has; anything else was passed as `extra`."""

_ExceptionInfo = tuple[type[BaseException], BaseException, TracebackType | None]


class LineFormatter(logging.Formatter):
    """Formats records as this module's docstring says. Never raises: a record that cannot be formatted is
    logged as far as it can be.
    """

    def __init__(self, redactor: Redactor) -> None:
        super().__init__()
        self._redactor = redactor

    def format(self, record: logging.LogRecord) -> str:
        """The line, without its end."""
        when = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        pairs = [
            f"time={when.removesuffix('+00:00')}Z",
            f"level={self._value(str(record.levelname).lower())}",
            f"logger={self._value(str(record.name))}",
            f"message={self._value(_message(record))}",
        ]
        for name, value in record.__dict__.items():
            if name not in _RECORD:
                pairs.append(self._pair(name, value))
        if record.exc_info and record.exc_info[0] is not None:
            trace = _text(lambda: self.formatException(record.exc_info))  # type: ignore[arg-type]
            pairs.append(f"error={self._value(trace, limits.LOG_TRACE_CHARACTERS)}")
        elif record.exc_text:
            pairs.append(f"error={self._value(record.exc_text, limits.LOG_TRACE_CHARACTERS)}")
        if record.stack_info:
            pairs.append(f"stack={self._value(str(record.stack_info), limits.LOG_TRACE_CHARACTERS)}")
        return " ".join(pairs)

    def _pair(self, name: str, value: object) -> str:
        key = _NOT_A_NAME.sub("_", self._redactor.clean(str(name), 64)) or "_"
        if key in _OWN:
            key += "_"
        if names_secret(str(name)):
            return f"{key}={HIDDEN}"
        return f"{key}={self._value(_text(lambda: str(value)))}"

    def _value(self, text: str, limit: int = limits.LOG_CHARACTERS) -> str:
        text = self._redactor.clean(text, limit)
        return text if _PLAIN.fullmatch(text) else json.dumps(text)


def _message(record: logging.LogRecord) -> str:
    try:
        return record.getMessage()
    except Exception:  # noqa: BLE001 whatever a library passed as arguments, its record is not lost
        return f"{_text(lambda: str(record.msg))} {_text(lambda: repr(record.args))}"


def _text(make: Callable[[], str]) -> str:
    try:
        return make()
    except Exception as fault:  # noqa: BLE001 str() and repr() are anybody's code
        return f"(cannot be shown: {type(fault).__name__})"


class _Handler(logging.StreamHandler[TextIO]):
    """Writes lines; a stream that is closed, full or gone is nobody's error."""

    _cut = False

    def format(self, record: logging.LogRecord) -> str:
        """The line; after one that may be there by half, on a line of its own."""
        line = super().format(record)
        if self._cut:
            self._cut, line = False, f"{self.terminator}{line}"
        return line

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 the base class names it
        """No more than that: the base class would print the record, secrets and all."""
        self._cut = True


def configure(
    level: str = "info", stream: TextIO | None = None, redactor: Redactor | None = None
) -> Callable[[], None]:
    """Send the records of all libraries, warnings and uncaught exceptions through one formatter.

    Handlers that libraries installed for themselves are taken off, for they would print what this one
    hides. `stream` is standard error unless told. Returns what undoes it all. ValueError: no such level.
    """
    if level.lower() not in LEVELS:
        raise ValueError(f"level is {' '.join(LEVELS)}")
    handler = _Handler(stream if stream is not None else sys.stderr)
    handler.setFormatter(LineFormatter(redactor if redactor is not None else Redactor()))
    root = logging.getLogger()
    known = [each for each in logging.root.manager.loggerDict.values() if isinstance(each, logging.Logger)]
    before = [(each, list(each.handlers), each.propagate) for each in (*known, root)]
    root_level, raising = root.level, logging.raiseExceptions
    hooks = (sys.excepthook, threading.excepthook, sys.unraisablehook)

    for each, handlers, _ in before:
        for old in handlers:
            each.removeHandler(old)
        each.propagate = True
    root.addHandler(handler)
    root.setLevel(level.upper())
    logging.raiseExceptions = False
    logging.captureWarnings(True)
    sys.excepthook, threading.excepthook, sys.unraisablehook = _uncaught, _uncaught_in_thread, _unraisable

    def undo() -> None:
        sys.excepthook, threading.excepthook, sys.unraisablehook = hooks
        logging.captureWarnings(False)
        logging.raiseExceptions = raising
        root.setLevel(root_level)
        root.removeHandler(handler)
        for each, handlers, propagate in before:
            each.propagate = propagate
            for old in handlers:
                each.addHandler(old)

    return undo


def reason(error: HeadraceError) -> str:
    """What the client is told and, behind a colon, what was behind that, for whoever reads the log."""
    causes: list[str] = []
    cause = error.__cause__
    while cause is not None:
        causes.append(str(cause) or type(cause).__name__)
        cause = cause.__cause__
    told = dict.fromkeys([error.sentence, *causes])  # each sentence once
    return ": ".join(told)


def _uncaught(kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
    if issubclass(kind, KeyboardInterrupt):
        sys.__excepthook__(kind, fault, trace)
    else:
        _report("uncaught exception", (kind, fault, trace))


def _uncaught_in_thread(told: threading.ExceptHookArgs) -> None:
    if told.exc_value is not None:
        _report("uncaught exception in a thread", (told.exc_type, told.exc_value, told.exc_traceback))


def _unraisable(told: "sys.UnraisableHookArgs") -> None:
    if told.exc_value is not None:
        message = told.err_msg or "exception ignored"
        _report(message, (told.exc_type, told.exc_value, told.exc_traceback))


def _report(message: str, info: _ExceptionInfo) -> None:
    logging.getLogger("gateway").critical(message, exc_info=info)
