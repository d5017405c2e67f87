"""The state folder -> its spool, opened when it is first needed; NoRoom while it cannot be."""

import logging
from pathlib import Path

from adapters.errors import HeadraceError, NoRoom
from gateway.service.spool.spool import Spool

_log = logging.getLogger(__name__)


class SpoolRoom:
    """Where one gateway's spool is. A disk that fails costs only the requests that need it."""

    def __init__(self, state: Path) -> None:
        self._folder = state / "spool"
        self._spool: Spool | None = None

    def look(self) -> None:
        """At the start: recover what an earlier gateway left, and say what waits there."""
        if not self._folder.exists():
            return
        try:
            spool = self.opened()
            waiting, damaged = len(spool.held()), spool.damaged
        except HeadraceError as error:
            _log.error("the spool cannot be used", exc_info=error)
            return
        if waiting:
            _log.warning("transfers wait in the spool: headrace spool", extra={"jobs": waiting})
        if damaged:
            _log.warning("damaged transfers lie aside in the spool: headrace spool", extra={"jobs": damaged})

    def opened(self) -> Spool:
        """The spool, made anew where somebody has removed its folder. NoRoom where it cannot be used."""
        if self._spool is None or not self._folder.is_dir():
            try:
                self._spool = Spool(self._folder)
            except HeadraceError as error:
                raise NoRoom("The gateway's spool cannot be used") from error
        return self._spool

    @property
    def count(self) -> int:
        """How many jobs wait there; on any thread."""
        return sum(1 for _ in self._folder.glob("*.job"))

    def close(self) -> None:
        """Drop what was not finished."""
        if self._spool is not None:
            self._spool.close()
