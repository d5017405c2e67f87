"""One request's steps: wishes out, what was granted in, a reply at the end."""

from collections.abc import Callable, Generator
from typing import TypeAlias, TypeVar, cast

from adapters import limits
from gateway.session.wishes import Granted, Wish, Worked, WorkWish
from gateway.wire.replies import Reply

T = TypeVar("T")
Asking: TypeAlias = Generator[Wish, Granted, T]
"""Steps that end in anything."""

Steps: TypeAlias = Generator[Wish, Granted, Reply]


def granted(wish: Wish, kind: type[T]) -> Asking[T]:
    """Wish, and be granted what that kind of wish is granted."""
    found = yield wish
    assert isinstance(found, kind)
    return found


def worked(size: int, work: Callable[[], T]) -> Asking[T]:
    """What `work` gives: at once where it is as little as laying out so few bytes, else beside the others."""
    if size <= limits.INLINE_BYTES:
        return work()
    done = yield from granted(WorkWish(size, work), Worked)
    return cast(T, done.result)
