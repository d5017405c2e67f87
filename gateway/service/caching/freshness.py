"""(copy, now, the catalogue's wish) -> fresh, stale but usable, or neither: RFC 9111 as pure functions.

What the catalogue's author says outranks what the far server says, because the author answers for it.
`keep` replaces the server's whole word on freshness (RFC 9111 section 4.2.1): its lifetime, no-cache and
must-revalidate. With `stale` a copy may be served past its life when the far server fails (RFC 5861
section 4). Without `keep` the server's word is followed, and nothing is guessed where it says nothing (no
heuristics, section 4.2.2). Times are epoch seconds, spans are seconds.
"""

import math
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from adapters import limits
from adapters.port import Fetched, Freshness, Validators

KEPT_STATUSES: Final = frozenset({200, 203, 204})
"""Final answers worth keeping. Not 206, which is a part, nor 202, whose document is not made yet."""


@dataclass(frozen=True, slots=True)
class Copy:
    """An answer as it is kept.

    `taken` is when it had arrived or was last validated. `delay` is how long the far server took to
    answer then: a lifetime counts from when the request left (RFC 9111 section 4.2.3).
    """

    fetched: Fetched
    taken: float
    delay: float = 0.0


class Keeping(Enum):
    """Where an answer may be kept."""

    NOWHERE = "nowhere"
    MEMORY = "memory"
    DISK = "disk"  # and in memory


def age(copy: Copy, now: float) -> float:
    """Seconds since the copy was taken; infinite where the clock was set back and nobody can know.

    A machine without a clock of its own may start in 1970: a copy from the future is then not fresh for
    fifty years, but of unknown age.
    """
    seconds = now - copy.taken
    if seconds >= 0.0:
        return seconds
    return 0.0 if seconds >= -limits.CLOCK_SLACK_SECONDS else math.inf


def lifetime(copy: Copy, keep: float | None) -> float:
    """Seconds for which the copy is fresh, counted from `taken` (RFC 9111 section 4.2.1).

    no-cache means validation before every use, that is, no time at all (section 5.2.2.4).
    """
    if keep is not None:
        return keep
    says = copy.fetched.freshness
    if says.max_age is None or says.no_cache or says.no_store:
        return 0.0
    return max(0.0, says.max_age - copy.delay)


def is_fresh(copy: Copy, now: float, keep: float | None) -> bool:
    """Whether the copy may be used without asking: its lifetime exceeds its age (RFC 9111 section 4.2)."""
    return lifetime(copy, keep) > age(copy, now)


def may_serve_stale(copy: Copy, now: float, keep: float | None, stale: float | None) -> bool:
    """Whether the copy may stand in for a far server that fails: at most `stale` seconds past its life.

    `stale` is the catalogue author's own word and goes before the server's must-revalidate (RFC 9111 section
    5.2.2.2), which many servers send with everything: without that, `stale` would silently do nothing there.
    """
    if stale is None or stale <= 0.0:
        return False
    return age(copy, now) - lifetime(copy, keep) <= stale


def wanted_later(keep: float | None, stale: float | None) -> bool:
    """Whether an asker with these wishes has a use for the answer beyond the moment."""
    return (keep is not None and keep > 0.0) or (stale is not None and stale > 0.0)


def keeping(fetched: Fetched, wanted: bool) -> Keeping:
    """Where the answer may be kept (RFC 9111 section 3), if some asker wants it later or not.

    no-store (section 5.2.2.5) yields only to the catalogue's own wish, and then only in memory. What
    could never be used again, nor validated, is not kept.
    """
    if fetched.status not in KEPT_STATUSES or fetched.not_modified:
        return Keeping.NOWHERE
    says = fetched.freshness
    if says.no_store:
        return Keeping.MEMORY if wanted else Keeping.NOWHERE
    lives = bool(says.max_age) and not says.no_cache
    return Keeping.DISK if wanted or lives or fetched.validators else Keeping.NOWHERE


def answers_for(kept: Validators, answer: Validators) -> bool:
    """Whether a 304 with these validators speaks of the kept copy (RFC 9111 section 4.3.4).

    Entity tags are compared weakly (RFC 9110 section 8.8.3.2): servers that compress on the fly send
    `W/"x"` with the document and `"x"` with the 304. A 304 without validators answers what was asked.
    """
    if answer.etag is not None:
        return kept.etag is not None and _opaque(answer.etag) == _opaque(kept.etag)
    if answer.last_modified is not None:
        return kept.etag is not None or kept.last_modified == answer.last_modified
    return True


def refreshed(kept: Fetched, answer: Fetched) -> Fetched:
    """The kept document with what the 304 says in place of what was said before (RFC 9111 section 3.2).

    A 304 that says nothing of freshness leaves the kept lifetime in force, from now on.
    """
    return replace(
        kept,
        media_type=answer.media_type or kept.media_type,
        charset=answer.charset if answer.media_type else kept.charset,
        validators=Validators(
            answer.validators.etag or kept.validators.etag,
            answer.validators.last_modified or kept.validators.last_modified,
        ),
        freshness=answer.freshness if answer.freshness != Freshness() else kept.freshness,
        origin=answer.origin or kept.origin,
        steps=answer.steps,
    )


def same_document(one: Fetched, other: Fetched) -> bool:
    """Whether both would be read and laid out alike: body, kind, charset and status."""
    return (
        one.body == other.body
        and one.media_type == other.media_type
        and one.charset == other.charset
        and one.status == other.status
    )


def _opaque(etag: str) -> str:
    return etag.removeprefix("W/")
