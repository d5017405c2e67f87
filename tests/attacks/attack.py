"""One row of the attack table: what is tried, where the idea comes from, and what the client gets."""

from collections.abc import Callable
from dataclasses import dataclass

from tests.attacks.ground import Ground


@dataclass(frozen=True)
class Attack:
    """`run` does it and gives what came, which has to be `reply`, to the letter.

    `does` says it in words for the table. `dialled` are the addresses that the gateway is expected to have
    tried on its way, of those that are not this machine. `waits`: it takes time and no processor.
    `served`: it is tried through a process of `headrace serve`, too. `together`: another client is timed.
    """

    name: str
    target: str
    source: str
    does: str
    reply: str
    run: Callable[[Ground], str]
    dialled: tuple[str, ...] = ()
    waits: bool = False
    served: bool = False
    together: bool = False


def asking(*requests: str) -> Callable[[Ground], str]:
    """What comes of requests on a line of their own, one after another."""
    return lambda ground: ground.ask(*requests)
