"""(source, args, style) -> its call and its laid-out sheet: what a repeated ASK needs, kept ready."""

from collections import OrderedDict
from dataclasses import dataclass
from weakref import WeakValueDictionary

from adapters import limits
from adapters.port import Call
from gateway.catalogue.model import Source
from gateway.extract.plan import Sheet, Style

HotKey = tuple[int, tuple[str, ...], Style]


@dataclass(slots=True)
class Hot:
    """One of them. `source` is held so that its id(), which the key begins with, stays its own.

    `serial` names the kept copy that `sheet` was laid out from.
    """

    source: Source
    call: Call
    key: str
    serial: int = -1
    sheet: Sheet | None = None

    @property
    def weight(self) -> int:
        """Characters of its records."""
        return 0 if self.sheet is None else self.sheet.width * len(self.sheet.records)


class HotAnswers:
    """The latest used of them, within limits.HOT_ANSWERS and limits.SHEETS_BYTES."""

    def __init__(self) -> None:
        self._held: OrderedDict[HotKey, Hot] = OrderedDict()
        self._in_use: WeakValueDictionary[tuple[HotKey, int], Sheet] = WeakValueDictionary()
        self.weight = 0

    def __len__(self) -> int:
        return len(self._held)

    def get(self, key: HotKey) -> Hot | None:
        """The one under `key`, which is then the latest used."""
        hot = self._held.get(key)
        if hot is not None:
            self._held.move_to_end(key)
        return hot

    def add(self, key: HotKey, hot: Hot) -> None:
        """A new one, without a sheet yet."""
        self._held[key] = hot
        self._trim()

    def in_use(self, key: HotKey, serial: int) -> Sheet | None:
        """A sheet too large to be kept that some client is still reading: nobody needs a second one."""
        return self._in_use.get((key, serial))

    def lay(self, key: HotKey, serial: int, sheet: Sheet) -> None:
        """Its sheet; one that is too large is kept only while somebody reads it."""
        hot = self._held.get(key)
        if hot is None:
            return
        self.weight -= hot.weight
        hot.serial, hot.sheet = serial, sheet
        if hot.weight > limits.SHEET_BYTES:
            hot.serial, hot.sheet = -1, None
            self._in_use[key, serial] = sheet
        self.weight += hot.weight
        self._trim()

    def clear(self) -> None:
        """Forget all: another catalogue is in force."""
        self._held.clear()
        self.weight = 0

    def _trim(self) -> None:
        while len(self._held) > limits.HOT_ANSWERS or self.weight > limits.SHEETS_BYTES:
            _, oldest = self._held.popitem(last=False)
            self.weight -= oldest.weight
