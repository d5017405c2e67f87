"""Short names of listed folders -> the names behind them (CONTRACT section 5, `names`)."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import unquote_to_bytes

from adapters import limits
from adapters.files import quoted
from gateway.catalogue.targets import Ref


@dataclass(frozen=True, slots=True)
class _Folder:
    """What one listing has by its short names: names in it, or whole URLs; and all its names."""

    by_short: Mapping[str, bytes | str]
    names: frozenset[bytes]


class ShortNames:
    """The folders that one connection has listed with short names; the oldest are forgotten first."""

    def __init__(self) -> None:
        self._folders: dict[str, _Folder] = {}

    def remember(self, folder: Ref, entries: Mapping[str, bytes | str]) -> None:
        """What `folder` holds, by short names in capitals: the name of an entry, or the URL, within the same
        place, of one that is not kept under its name there.
        """
        key = _key(folder.url)
        self._folders.pop(key, None)
        names = frozenset(each for each in entries.values() if isinstance(each, bytes))
        self._folders[key] = _Folder(entries, names)
        while len(self._folders) > 1 and self._too_many():
            del self._folders[next(iter(self._folders))]

    def _too_many(self) -> bool:
        names = sum(len(each.by_short) for each in self._folders.values())
        return len(self._folders) > limits.SHORT_LISTINGS or names > limits.SHORT_NAMES

    def long(self, ref: Ref) -> Ref:
        """The ref with each short name in it replaced by the name it stands for, from the left.

        A name is taken as it is where its folder was not listed, has no such short name, or has an entry of
        exactly that name.
        """
        if not self._folders or not ref.path:
            return ref
        start = ref.url.partition("?")[0].removesuffix(ref.path)
        query = ref.url.removeprefix(start + ref.path)
        written = start.removesuffix("/")
        for segment in ref.path.split("/"):
            found = self._found(written, segment)
            if isinstance(found, str):
                written = found.removesuffix("/")
            else:
                written += "/" + (segment if found is None else quoted(found))
        return replace(ref, url=written + query)

    def _found(self, folder: str, segment: str) -> bytes | str | None:
        """What a segment stands for in a folder, where it is a short name."""
        listed = self._folders.get(_key(folder))
        if listed is None:
            return None
        typed = unquote_to_bytes(segment)
        short = typed.decode("latin-1").upper()
        if typed in listed.names and typed != short.encode("latin-1", "replace"):
            return None
        return listed.by_short.get(short)


def _key(url: str) -> str:
    return url.partition("?")[0].rstrip("/")
