"""requests and bytes, and when -> what is left of a day and a minute, or AskedTooOften.

`clock` tells seconds for rates, `today` the day (UTC) and how many seconds of it are left.
"""

import hashlib
import json
import logging
import math
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from adapters import limits
from adapters.errors import AskedTooOften
from gateway.catalogue.access import Rights
from gateway.service.damage import set_aside
from gateway.service.whole_files import put_in_place, remove_left

_log = logging.getLogger(__name__)
_MINUTE: Final = 60.0


@dataclass(slots=True)
class Account:
    """One member's, or one address's. `left` is what may be asked at once, as it was at `at`."""

    requests: int = 0
    bytes: int = 0
    left: float | None = None
    at: float = 0.0


class Accounts:
    """Of one gateway: a `session.state.Accounts`. `path`: where a day's counts are kept, None for nowhere."""

    def __init__(
        self, path: Path | None, now: Callable[[], datetime], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._path, self._now, self._clock = path, now, clock
        self._day = ""
        self._accounts: OrderedDict[str, Account] = OrderedDict()
        self._changed = False
        self._told: dict[str, tuple[int, int]] = {}  # see `used`
        self._load()

    def charge(self, who: str, rights: Rights) -> None:
        """One request more; AskedTooOften, with the seconds to wait, where `rights` allow no more."""
        account = self._account(who)
        if (rights.requests and account.requests >= rights.requests) or (
            rights.bytes and account.bytes >= rights.bytes
        ):
            raise AskedTooOften("Your share of today is used up; wait", self._rest_of_day())
        if rights.rate:
            self._pace(account, rights.rate)
        account.requests += 1
        self._changed = True

    def moved(self, who: str, count: int) -> None:
        """Bytes that passed, either way."""
        self._account(who).bytes += count
        self._changed = True

    def snapshot(self) -> str | None:
        """A day's counts as `save` takes them; None where they have not changed, or are kept nowhere."""
        if self._path is None or not self._changed:
            return None
        self._changed = False
        counts = {who: [each.requests, each.bytes] for who, each in self._accounts.items()}
        said = {"day": self._day, "counts": counts}
        return json.dumps({**said, "sha256": _digest(said)})

    def save(self, text: str | None) -> None:
        """Write a snapshot down; on any thread. A disk that takes nothing is logged."""
        if self._path is None or text is None:
            return
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            if self._path.is_dir():
                self._set_aside("it is a folder")
            put_in_place(self._path, text.encode(), 0o600)
        except OSError as error:
            _log.error("cannot write down what clients have had today: %s", error.strerror)
            self._changed = True

    # Another process that counts the same (see `running.following`)

    def used(self) -> dict[str, Any]:
        """What was counted since this was last asked, as `add` takes it."""
        counts = {}
        for who, each in self._accounts.items():
            requests, size = self._told.get(who, (0, 0))
            if (each.requests, each.bytes) != (requests, size):
                counts[who] = [each.requests - requests, each.bytes - size]
                self._told[who] = each.requests, each.bytes
        return {"day": self._day, "counts": counts}

    def add(self, used: dict[str, Any]) -> None:
        """What another process has counted; nothing of another day."""
        for who, (requests, size) in used["counts"].items():
            account = self._account(who)
            if used["day"] == self._day:
                account.requests += requests
                account.bytes += size
                self._changed = True

    def _account(self, who: str) -> Account:
        day = self._now().astimezone(UTC).date().isoformat()
        if day != self._day:
            self._day = day
            self._told.clear()
            for each in self._accounts.values():
                each.requests = each.bytes = 0
        account = self._accounts.setdefault(who, Account())
        self._accounts.move_to_end(who)
        while len(self._accounts) > limits.ACCOUNTS:
            self._accounts.popitem(last=False)
        return account

    def _pace(self, account: Account, rate: int) -> None:
        """A token bucket: a minute's requests, never fewer than a burst, come back as time goes on."""
        now, most = self._clock(), max(rate, limits.ACCOUNT_BURST)
        left = most if account.left is None else account.left + (now - account.at) * rate / _MINUTE
        account.left, account.at = min(left, most), now
        if account.left < 1:
            raise AskedTooOften("Too many requests; wait", math.ceil((1 - account.left) * _MINUTE / rate))
        account.left -= 1

    def _rest_of_day(self) -> int:
        now = self._now().astimezone(UTC)
        midnight = (now + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
        return max(1, math.ceil((midnight - now).total_seconds()))

    def _load(self) -> None:
        """What was counted today before this start. What is damaged counts for nothing, and is set aside."""
        if self._path is None:
            return
        remove_left(self._path)
        try:
            self._day, found = _read(self._path)
        except FileNotFoundError:
            return
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            self._set_aside(str(error) or type(error).__name__)
            return
        self._accounts.update(found)

    def _set_aside(self, why: str) -> None:
        assert self._path is not None
        aside = "and stays where it is"
        with suppress(OSError):
            aside = f"and was set aside as {set_aside(self._path).name}"
        told = "what clients have had today cannot be read, counts from nothing, %s"
        _log.error(told, aside, extra={"file": self._path.name, "why": why})


def _read(path: Path) -> tuple[str, dict[str, Account]]:
    """The day, and what each had of it."""
    if path.exists() and not path.is_file():
        raise ValueError("it is no file")  # a FIFO would be waited for
    kept = json.loads(path.read_text(encoding="utf-8"))
    if kept.pop("sha256") != _digest(kept):
        raise ValueError("it does not match its digest")
    counts = {who: Account(requests, size) for who, (requests, size) in kept["counts"].items()}
    return kept["day"], counts


def _digest(said: Mapping[str, object]) -> str:
    """SHA-256, so that damage never passes for a count."""
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()
