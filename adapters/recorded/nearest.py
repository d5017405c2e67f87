"""A request that was not recorded -> the recording that comes nearest, and which part of it differs.

Nearest is the same path at the same origin, then the same path elsewhere, then the path with most segments in
common; among those the same method, most of the query, the same body. No value of a query is told.
"""

from collections.abc import Iterable
from difflib import SequenceMatcher
from itertools import takewhile, zip_longest
from typing import Final, TypeAlias
from urllib.parse import unquote_plus, urlsplit

from adapters.recorded.exchange import Asked, Content
from adapters.recorded.matching import form_of, key_of, media_type
from adapters.recorded.ports import Miss

_Score: TypeAlias = tuple[int | tuple[bool, ...], ...]
_SHOWN: Final = 60  # characters of a name, so that a line stays one


def nearest(asked: Asked, recorded: Iterable[Asked]) -> Miss:
    """The one of `recorded` that comes nearest: the same for the same, whatever their order."""
    ours = _Parts(asked)
    scored = [(ours.likeness(theirs), theirs) for theirs in map(_Parts, recorded)]
    if not scored:
        return Miss()
    best = max(score for score, _ in scored)
    near = sorted((theirs for score, theirs in scored if score == best), key=lambda each: each.key)
    chosen = max(near, key=ours.spelled_like)
    return Miss(f"{chosen.asked.method} {chosen.shown}", ours.difference(chosen))


class _Parts:
    """A request, taken apart."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked
        self.key = key_of(asked)
        self.method, url, self.to = self.key
        self.shown, _, query = url.partition("?")
        self.scheme, _, rest = self.shown.partition("://")
        self.host, _, path = rest.partition("/")
        self.path = path.split("/")
        self.query = query.split("&") if query else []

    def likeness(self, other: "_Parts") -> _Score:
        """More is more alike."""
        origin = (self.host == other.host, _name(self.host) == _name(other.host), self.scheme == other.scheme)
        before = _common(self.path, other.path)
        rest = min(len(self.path), len(other.path)) - before
        behind = min(rest, _common(self.path[::-1], other.path[::-1]))
        return (
            self.path == other.path,
            origin,
            before + behind,
            before,
            -abs(len(self.path) - len(other.path)),
            self.method == other.method,
            -len(_apart(self.query, other.query)),
            self._size() == other._size(),
            self.to == other.to,
        )

    def _size(self) -> int:
        try:
            return 0 if self.asked.body is None else self.asked.body.size
        except OSError:  # removed by hand
            return -1

    def spelled_like(self, other: "_Parts") -> float:
        """The same of the letters of both paths."""
        return SequenceMatcher(None, "/".join(self.path), "/".join(other.path), autojunk=False).ratio()

    def difference(self, other: "_Parts") -> str:
        """What is different, in words: the most telling first."""
        said = []
        if self.path != other.path:
            said.append(f"the path: {self._segment(other)}")
        if self.host != other.host:
            said.append(f"the host: {self.host}")
        if self.scheme != other.scheme:
            said.append(f"the scheme: {self.scheme}")
        if self.query != other.query:
            said.append(f"the query: {_parameters(self.query, other.query)}")
        if self.method != other.method:
            said.append(f"the method: {self.method}")
        if self.to != other.to:
            said.append("where to")
        if body := _body(self.asked, other.asked):
            said.append(body)
        if not said:
            said.append("the part of the document" if self.method == "READ" else "the headers")
        return "; ".join(said)

    def _segment(self, other: "_Parts") -> str:
        """The first one that is not the same."""
        pairs = zip_longest(self.path, other.path, fillvalue=None)
        mine = next(mine for mine, theirs in pairs if mine != theirs)
        return _short(mine) if mine else "it ends early" if mine is None else "an empty name"


def _name(host: str) -> str:
    return urlsplit(f"//{host}").hostname or host


def _common(one: list[str], other: list[str]) -> int:
    """How many are the same from the first on."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))


def _apart(one: list[str], other: list[str]) -> set[str]:
    return set(one) ^ set(other)


def _short(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def _parameters(one: list[str], other: list[str]) -> str:
    """The names of the parameters that are not the same in both."""
    ours, theirs = set(map(_parameter, one)), set(map(_parameter, other))
    changed = {_parameter(each) for each in _apart(one, other)} & ours & theirs
    groups = (("other", changed), ("extra", ours - theirs), ("missing", theirs - ours))
    said = [f"{word} {', '.join(sorted(map(_short, names)))}" for word, names in groups if names]
    return "; ".join(said) or "how often each is there"


def _parameter(part: str) -> str:
    name, equals, _ = part.partition("=")
    return unquote_plus(name) if equals else "(no name)"


def _body(one: Asked, other: Asked) -> str:
    """Where the bodies begin to differ, or nothing where they say the same."""
    ours, theirs = (each.body if each.body is not None else Content() for each in (one, other))
    try:
        if not ours.size and not theirs.size:
            return ""
        if not ours.size or not theirs.size:
            return "the body: there is none" if not ours.size else "the body: none was recorded"
        forms = [
            form_of(body.chunks(), media_type(asked.headers))
            for body, asked in ((ours, one), (theirs, other))
        ]
        if forms[0].is_like(forms[1]):
            return ""
        return f"the body: from byte {_first_difference(ours, theirs)} on"
    except OSError:  # removed by hand
        return "the body"


def _first_difference(one: Content, other: Content) -> int:
    """Counted from 1."""
    place = 0
    for ours, theirs in zip(one.chunks(), other.chunks(), strict=False):
        if ours != theirs:
            same = takewhile(lambda pair: pair[0] == pair[1], zip(ours, theirs, strict=False))
            return place + sum(1 for _ in same) + 1
        place += len(ours)
    return place + 1
