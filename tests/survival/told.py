"""What clients tried and were told of a document, what is at the far server and in the spool -> whether that
holds together. No I/O.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

from gateway.service.spool.spool import JobKind


class Told(Enum):
    """What came of one try, in its client's eyes."""

    OPEN = "no reply"  # the gateway was killed before
    DONE = "250"
    BEGUN = "150"
    KEPT = "an error that begins with Kept."
    DOUBTFUL = "558"
    REFUSED = "another error"


PROMISED = frozenset({Told.DONE, Told.BEGUN, Told.KEPT})


@dataclass(slots=True)
class Try:
    """One STORE, APPEND or COPY: the bytes that were to be there, or to be added."""

    body: bytes
    told: Told = Told.OPEN
    reply: bytes = b""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A job in the spool. `body` is what a COPY would bring, too."""

    number: int
    kind: JobKind
    body: bytes
    doubtful: bool


@dataclass(slots=True)
class Document:
    """One document, written by one client alone. `before`: as it was when the gateway started, None for not
    there. `adds`: by APPEND.
    """

    ref: str
    adds: bool = False
    before: bytes | None = None
    tries: list[Try] = field(default_factory=list)

    def begin(self, body: bytes) -> Try:
        """Another try, not answered yet."""
        self.tries.append(Try(body))
        return self.tries[-1]

    def check(self, far: bytes | None, waiting: Sequence[Waiting]) -> Counter[str]:
        """AssertionError for what is lost, halved or made up; else how many promises were kept, and where."""
        for job in waiting:
            assert any(each.body == job.body for each in self.tries), (
                f"{self.ref}: job {job.number} is made up"
            )
        return self._added(far, waiting) if self.adds else self._replaced(far, waiting)

    def _replaced(self, far: bytes | None, waiting: Sequence[Waiting]) -> Counter[str]:
        places = {number for number, each in enumerate(self.tries) if each.body == far}
        if far == self.before:
            places.add(-1)
        assert places, f"{self.ref}: neither old nor new: {shown(far)}"
        there = max(places)
        refused = [each for each in places if each >= 0 and self.tries[each].told is Told.REFUSED]
        assert len(refused) < len(places), f"{self.ref}: {self.tries[refused[0]].reply!r}, and done"
        spooled = max((number for number, each in enumerate(self.tries) if _in(each, waiting)), default=-1)
        found = Counter[str]()
        for number, each in enumerate(self.tries):
            if each.told is Told.DONE:
                assert there >= number, f"{self.ref}: 250 for {shown(each.body)}, and there is {shown(far)}"
                found["delivered"] += 1
            elif each.told in PROMISED:
                assert max(there, spooled) >= number, f"{self.ref}: {each.told.value}, and lost"
                found["delivered" if there >= number else "spooled"] += 1
        return found

    def _added(self, far: bytes | None, waiting: Sequence[Waiting]) -> Counter[str]:
        before = self.before or b""
        assert (far or b"").startswith(before), f"{self.ref}: what was there before is not"
        lines = (far or b"").removeprefix(before).splitlines(keepends=True)
        known = [each.body for each in self.tries]
        assert all(line in known for line in lines), f"{self.ref}: neither old nor new"
        assert len(set(lines)) == len(lines), f"{self.ref}: added twice"
        done = [each.body for each in self.tries if each.told is Told.DONE]
        assert [line for line in lines if line in done] == done, f"{self.ref}: 250, and not there in order"
        found = Counter({"delivered": len(done)})
        for each in self.tries:
            if each.told in PROMISED - {Told.DONE}:
                assert each.body in lines or _in(each, waiting), f"{self.ref}: {each.told.value}, and lost"
                found["delivered" if each.body in lines else "spooled"] += 1
        return found

    def settled(self, far: bytes | None) -> None:
        """From here it goes on."""
        self.before = far
        self.tries.clear()


def _in(one: Try, waiting: Sequence[Waiting]) -> bool:
    return any(job.body == one.body for job in waiting)


def shown(body: bytes | None) -> str:
    """Short, for a failure's message."""
    return "nothing" if body is None else f"{len(body)} bytes {body[:40]!r}"
