"""Names as a listing showed them -> the names behind them (CONTRACT section 3, refs, and section 5, `names`).

A client can type only what it sees: 8.3 names, and names made ASCII. What it types is first of all a name as
it is. Only where its folder was listed on this connection, and no entry has exactly that name, it is taken
for an entry that was shown so; what creates a name is never.
"""

from collections.abc import Iterable, Mapping, MutableMapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import TypeAlias
from urllib.parse import unquote_to_bytes

from adapters import limits
from adapters.files import quoted
from gateway.catalogue.calling.targets import Ref
from gateway.session.memory import NAME_BYTES, Weights

Behind: TypeAlias = bytes | str | None
"""What a shown name stands for: a name in the folder, a whole URL within the place, or nothing usable."""


class Use(Enum):
    """What a ref is for, which decides how freely it may be taken for what was shown."""

    READ = "read"  # whatever case it is typed in
    CHANGE = "change"  # exactly as it was shown, letter for letter
    PUT = (
        "put"  # likewise, but its last name may be new; one with a slash at its end is a folder that is there
    )
    NAME = "name"  # likewise, slash or not


@dataclass(frozen=True, slots=True)
class Names:
    """What one listing has: the names of entries byte for byte, and what stands behind those shown: short
    ones in capitals, whole ones in ASCII, and the same in small letters. Behind what was shown twice stands
    nothing usable.
    """

    real: frozenset[bytes]
    by_short: Mapping[str, Behind]
    by_shown: MutableMapping[str, Behind]
    by_small: MutableMapping[str, Behind]

    @property
    def size(self) -> int:
        """How many entries it remembers."""
        return max(len(self.by_short), len(self.by_shown), len(self.real))


def names_of(shown: Iterable[tuple[str, Behind]], by_short: Mapping[str, Behind]) -> Names:
    """What is remembered of a listing: each entry as it is shown in ASCII, and what stands behind it."""
    by_shown: dict[str, Behind] = {}
    by_small: dict[str, Behind] = {}
    real: set[bytes] = set()
    for text, behind in shown:
        by_shown[text] = None if text in by_shown else behind
        small = text.lower()
        by_small[small] = None if small in by_small else behind
        if isinstance(behind, bytes):
            real.add(behind)
    return Names(frozenset(real), by_short, by_shown, by_small)


class ListedNames:
    """The folders that one connection has listed; the oldest are forgotten first."""

    def __init__(self) -> None:
        self._folders: dict[str, Names] = {}

    def remember(self, folder: Ref, names: Names) -> None:
        """The last listing of `folder`."""
        key = _key(folder.url)
        self._folders.pop(key, None)
        self._folders[key] = names
        while len(self._folders) > 1 and self._too_many():
            del self._folders[next(iter(self._folders))]

    def _too_many(self) -> bool:
        return len(self._folders) > limits.SHORT_LISTINGS or self._count > limits.SHORT_NAMES

    @property
    def _count(self) -> int:
        return sum(each.size for each in self._folders.values())

    @property
    def kept(self) -> Weights:
        """All names."""
        return ((self, self._count * NAME_BYTES),)

    def created(self, ref: Ref) -> None:
        """Something may have this very name from now on, so that it stands for nothing else."""
        folder, _, segment = ref.url.partition("?")[0].rstrip("/").rpartition("/")
        names = self._folders.get(_key(folder))
        if names is not None:
            typed = unquote_to_bytes(segment)
            if typed in names.real:
                return
            text = typed.decode("latin-1")
            names.by_shown.pop(text, None)
            names.by_small.pop(text.lower(), None)

    def long(self, ref: Ref, use: Use = Use.READ, short: bool = False) -> Ref:
        """The ref with each shown name in it replaced by what it stands for, from the left.

        A name is taken as it is where its folder was not listed, or shows no one entry so, or has an entry of
        exactly that name. `short`: 8.3 names stand for their entries, whatever the ref is for.
        """
        if not self._folders or not ref.path:
            return ref
        start = ref.url.partition("?")[0].removesuffix(ref.path)
        query = ref.url.removeprefix(start + ref.path)
        written = start.removesuffix("/")
        segments = ref.path.split("/")
        new = len(ref.path.rstrip("/").split("/")) if use is Use.NAME else len(segments) * (use is Use.PUT)
        for number, segment in enumerate(segments, 1):
            names = self._folders.get(_key(written))
            behind = None if names is None or not segment else _short(names, segment) if short else None
            if behind is None and names is not None and segment and number != new:
                behind = _shown(names, segment, blind=use is Use.READ)
            if isinstance(behind, str):
                written = behind.removesuffix("/")
            else:
                written += "/" + (segment if behind is None else quoted(behind))
        return replace(ref, url=written + query)


def _short(names: Names, segment: str) -> Behind:
    """What a segment stands for where it is a short name."""
    typed = unquote_to_bytes(segment)
    word = typed.decode("latin-1").upper()
    if typed in names.real and typed != word.encode("latin-1", "replace"):
        return None
    return names.by_short.get(word)


def _shown(names: Names, segment: str, blind: bool) -> Behind:
    """What a segment stands for where one entry was shown so; `blind`: in whatever case."""
    typed = unquote_to_bytes(segment)
    if typed in names.real or not typed.isascii():
        return None
    text = typed.decode("ascii")
    if text in names.by_shown or not blind:
        return names.by_shown.get(text)
    return names.by_small.get(text.lower())


def _key(url: str) -> str:
    return url.partition("?")[0].rstrip("/")
