"""One run of a path over one document: what it may still look at, and what it remembers."""

from collections.abc import Reversible
from typing import Any, Final

from adapters import limits
from adapters.errors import TooLarge, TooMuchWork
from gateway.extract.effort import current
from gateway.extract.jsonpath.i_regexp import TooComplex, translate
from gateway.extract.values import MISSING, JsonValue, Value

# How long one use of a pattern may take, and how many of one selection may go on to the next rung when that
# is over. Without a clock, this bounds the whole; nearly every use ends on the first rung.
_RUNGS: Final = (
    (limits.PATTERN_SECONDS / 2_500, limits.PATTERN_SLOW * 50),
    (limits.PATTERN_SECONDS / 50, limits.PATTERN_SLOW),
    (limits.PATTERN_SECONDS, 0),
)
_SECONDS_PER_CHARACTER: Final = 1e-7  # on every rung; what a harmless pattern needs is about a tenth
_CONTAINERS: Final = frozenset((dict, list))  # a look-up in it is twice as quick as isinstance


class Selection:
    """The state of one evaluation; everything else about a path is fixed when it is compiled.

    `blind`: a name that matches no member exactly matches case-blind if only one does.
    """

    __slots__ = ("_effort", "_patterns", "_used", "_visits", "blind", "remembered", "root")

    def __init__(self, root: JsonValue, *, blind: bool = False) -> None:
        self.root = root
        self.blind = blind
        self.remembered: dict[int, list[JsonValue]] = {}  # what absolute queries inside filters selected
        self._visits = 0
        self._effort = current()
        self._used = [0] * len(_RUNGS)
        self._patterns: dict[str, Any | None] = {}

    def look(self, count: int) -> None:
        """Count nodes looked at. Raises TooLarge past a limit."""
        self._visits += count
        if self._visits > limits.VISITS:
            raise TooLarge("That path looks at too much")
        self._effort.look(count)

    def containers(self, node: JsonValue) -> list[JsonValue]:
        """The objects and arrays among the node and its descendants, each after its parent, in order."""
        found: list[JsonValue] = []
        pending = [node]
        visits, left = 0, min(limits.VISITS - self._visits, self._effort.visits)
        while pending and visits <= left:
            here = pending.pop()
            children: Reversible[JsonValue]
            if isinstance(here, dict):
                children = here.values()
            elif isinstance(here, list):
                children = here
            else:
                continue  # only the node itself can be neither
            found.append(here)
            visits += len(here) + 1
            for child in reversed(children):
                if type(child) in _CONTAINERS:
                    pending.append(child)  # noqa: PERF401  a list made for each of many small ones is slower
        self.look(visits)
        return found

    def blind_member(self, node: dict[str, JsonValue], name: str) -> Value:
        """The only member whose name differs from `name` by case alone; MISSING for none or several."""
        self.look(len(node))
        wanted = name.casefold()
        found = [member for key, member in node.items() if key.casefold() == wanted]
        return found[0] if len(found) == 1 else MISSING

    def pattern(self, text: str) -> Any | None:
        """A pattern that the document brings, or None where it is no I-Regexp. Raises TooLarge."""
        if text not in self._patterns:
            self.look(limits.PATTERN_VISITS * (len(text) + 1))
            try:
                self._patterns[text] = translate(text)
            except TooComplex as fault:
                raise TooLarge("A pattern in the document is too large") from fault
        return self._patterns[text]

    def matches(self, pattern: Any, subject: str, *, whole: bool) -> bool:
        """Whether the pattern matches the whole subject, or something in it. Raises TooLarge."""
        self.look(limits.PATTERN_VISITS)
        find = pattern.fullmatch if whole else pattern.search
        for rung, (seconds, more) in enumerate(_RUNGS):  # pragma: no branch — the last has no more
            try:
                return find(subject, timeout=seconds + _SECONDS_PER_CHARACTER * len(subject)) is not None
            except TimeoutError:
                if self._effort.brief:
                    raise TooMuchWork from None
                self._used[rung] += 1
                if self._used[rung] > more:
                    break
        raise TooLarge("A pattern takes too long")
