"""What was counted without faults -> which calls are made to fail, and how."""

import random
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Final

from tests.torture.inside.points import Point

_AWAIT: Final = ("reset", "late", "mistake")
_ERRORS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "await": _AWAIT,
        "enter": _AWAIT,
        "leave": _AWAIT,
        "next": _AWAIT,
        "file": ("io",),
        "socket": ("reset",),
        "lookup": ("name",),
        "terminal": ("terminal",),
        "database": ("database",),
        "thread": ("threads",),
    }
)
_MORE: Final = (  # by the end of a site
    (re.compile(r"(write|open|mkdir|link|fsync|mkstemp|copy_file_range|rename|replace)$"), ("io", "full")),
    (re.compile(r"^file .* (os\.open|open|os\.dup)$"), ("io", "full", "descriptors")),
    (re.compile(r"^socket .* connect$"), ("refused", "late")),
)
_ACCEPT: Final = re.compile(r" accept$")
"""As long as no descriptor is left, nobody is let in, and asyncio tries again after a second. So it fails
once; any other failure of accept(2) is asyncio's."""


class Depth(Enum):
    """How much of what was counted is tried: each site where it is reached first, in all, in each chapter, or
    in each step; or every call.
    """

    SITE = "site"
    CHAPTER = "chapter"
    STEP = "step"
    CALL = "call"


@dataclass(frozen=True, slots=True)
class Trial:
    """One chapter with one point failing, once or from then on."""

    chapter: str
    point: Point
    error: str
    for_good: bool

    def __str__(self) -> str:
        return f"{self.point} | {self.error} | {'for good' if self.for_good else 'once'}"


def errors_of(site: str) -> tuple[str, ...]:
    """What a call from there can fail with; names of `points.ERRORS`."""
    if _ACCEPT.search(site):
        return ("descriptors",)
    found = _ERRORS[site.partition(" ")[0]]
    for pattern, errors in _MORE:
        if pattern.search(site) and site.startswith(("file", "socket")):
            found = errors
    return found


def trials(counted: Mapping[str, Mapping[tuple[str, str], int]], depth: Depth) -> Iterator[Trial]:
    """All of them. `counted` are the calls of each chapter by site and step."""
    for chapter, point in _points(counted, depth):
        for error in errors_of(point.site):
            yield Trial(chapter, point, error, for_good=False)
            if not _ACCEPT.search(point.site):
                yield Trial(chapter, point, error, for_good=True)


def _points(
    counted: Mapping[str, Mapping[tuple[str, str], int]], depth: Depth
) -> Iterator[tuple[str, Point]]:
    seen: set[tuple[str, ...]] = set()
    for chapter, calls in counted.items():
        for (site, step), count in sorted(calls.items(), key=lambda each: _order(each[0])):
            label = {Depth.SITE: (site,), Depth.CHAPTER: (site, chapter)}.get(depth, (site, chapter, step))
            if label in seen:
                continue
            seen.add(label)
            for nth in range(1, count + 1 if depth is Depth.CALL else 2):
                yield chapter, Point(site, step, nth)


def _order(key: tuple[str, str]) -> tuple[int, str]:
    number = re.search(r"/([0-9]+) ", key[1])
    return (int(number[1]) if number is not None else -1, key[0])


def sample(every: Iterable[Trial], size: int, seed: int) -> list[Trial]:
    """So many, always the same for one seed, in the order of their chapters."""
    found = list(every)
    chosen = random.Random(seed).sample(range(len(found)), min(size, len(found)))
    return [found[each] for each in sorted(chosen)]
