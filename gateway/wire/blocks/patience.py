"""limits -> Patience: how long and how often a transfer waits, in seconds."""

from dataclasses import dataclass

from adapters import limits


@dataclass(frozen=True, slots=True)
class Patience:
    """For one transfer, as the limits of these names say. `between` must be longer than any pause in a block,

    such as a far network makes, or an adapter that hands on what came in lumps.
    """

    answer: float = limits.BLOCK_ANSWER_SECONDS
    block: float = limits.BLOCK_WAIT_SECONDS
    ask: float = limits.BLOCK_ASK_SECONDS
    between: float = limits.BLOCK_BETWEEN_SECONDS
    end: float = limits.BLOCK_END_SECONDS
    last: float = limits.BLOCK_LAST_SECONDS
    tries: int = limits.BLOCK_TRIES
    asks: int = limits.BLOCK_ASKS
