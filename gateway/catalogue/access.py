"""[rights.NAME] and the members' file -> what a client may do, and who may log in."""

import re
from collections.abc import Collection
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

ALL: Final = ("*",)


@dataclass(frozen=True, slots=True)
class Rights:
    """What a client may do. The lists hold names in upper case, and hosts in lower; `*` stands for any text.

    `sources` may be asked, `places` read; those of both that `write` lists may be changed, too. `streams` are
    places to talk to, and numbers of reserved ports to hear at. `urls` are hosts whose URLs may be typed, of
    those that the gateway takes at all. `requests` and `bytes` are a day's, `rate` is requests a minute; 0
    sets no limit.
    """

    sources: tuple[str, ...] = ALL
    places: tuple[str, ...] = ALL
    write: tuple[str, ...] = ALL
    streams: tuple[str, ...] = ALL
    urls: tuple[str, ...] = ALL
    requests: int = 0
    bytes: int = 0
    rate: int = 0

    @property
    def metered(self) -> bool:
        """Whether anything is to be counted."""
        return bool(self.requests or self.bytes or self.rate)


EVERYTHING: Final = Rights()
NOTHING: Final = Rights((), (), (), (), ())


@dataclass(frozen=True, slots=True)
class Member:
    """Who may log in. `password` is a salted hash, `key` that of RFC 6238 codes, in base 32; one may be "".

    `rights` is the name of a [rights.NAME] in upper case; empty: everything.
    """

    name: str
    rights: str = ""
    password: str = field(default="", repr=False)
    key: str = field(default="", repr=False)


def listed(name: str, patterns: Collection[str]) -> bool:
    """Whether one of the patterns is the name; `*` in one stands for any text."""
    return "*" in patterns or any(_compiled(each).fullmatch(name) is not None for each in patterns)


@lru_cache(maxsize=512)
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(".*".join(map(re.escape, pattern.split("*"))), re.DOTALL)
