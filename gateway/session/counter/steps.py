"""What a counter wants of its shell, beside wishes: to say something, and to listen to its client."""

from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from gateway.session.wishes import Granted, Wish

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Say:
    """These bytes go to the client. `Said` comes when the client's line has taken them."""

    data: bytes


@dataclass(frozen=True, slots=True)
class Listen:
    """`Came` comes as soon as the client has said something, and at `until` at the latest."""

    until: float | None = None


@dataclass(frozen=True, slots=True)
class Said:
    """When it was taken. `cancelled`: a CAN is among what the client has said and nobody has listened to."""

    now: float
    cancelled: bool = False


@dataclass(frozen=True, slots=True)
class Came:
    """What the client has said, perhaps nothing. Times are seconds of one clock that never goes back."""

    data: bytes
    now: float


Talk: TypeAlias = Generator[Wish | Say | Listen, Granted | Said | Came, T]
"""Steps of a counter. A wish may have a HeadraceError thrown in."""


def say(data: bytes) -> Talk[Said]:
    """Say it."""
    said = yield Say(data)
    assert isinstance(said, Said)
    return said


def listen(until: float | None = None) -> Talk[Came]:
    """Listen; with 0 only for what has come already."""
    came = yield Listen(until)
    assert isinstance(came, Came)
    return came
