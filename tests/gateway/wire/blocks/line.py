"""A line between a sender and a receiver in virtual time, which damages what it carries by a seed."""

import heapq
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

from gateway.wire.blocks.effects import Block, Document, Done, Effect, Ended, Failed, Send, Want
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Sender

CHARACTER = 1 / 960  # seconds: 9,600 bits a second at 8N1
PIECE = 0.2  # seconds at most before what has come is handed on
DELAY = 0.05
SECONDS = 1_000_000.0  # eleven days: no transfer here may take so long


@dataclass(frozen=True)
class Noise:
    """How often a byte has one bit changed, is lost, or comes twice."""

    flips: float = 0.0
    drops: float = 0.0
    doubles: float = 0.0

    def damage(self, data: bytes, chance: random.Random) -> bytes:
        found = bytearray()
        for byte in data:
            if chance.random() < self.drops:
                continue
            damaged = byte ^ (1 << chance.randrange(8)) if chance.random() < self.flips else byte
            found += bytes([damaged]) * (2 if chance.random() < self.doubles else 1)
        return bytes(found)


CLEAN = Noise()


@dataclass
class Outcome:
    """What became of it, as both sides know it."""

    received: list[tuple[Document | None, bytes]] = field(default_factory=list)  # whole ones
    acknowledged: int = 0
    sender: Done | Failed | None = None
    receiver: Done | Failed | None = None
    seconds: float = 0.0
    carried: int = 0


def transfer(
    sender: Sender,
    receiver: Receiver,
    bodies: Sequence[bytes],
    noise: Noise = CLEAN,
    seed: int = 0,
    character: float = CHARACTER,
) -> Outcome:
    """Both sides until both are over, in virtual time; what is sent arrives in pieces."""
    outcome, chance = Outcome(), random.Random(seed)
    arriving: list[tuple[float, int, Sender | Receiver, bytes]] = []
    free = {id(sender): 0.0, id(receiver): 0.0}
    positions = [0] * len(bodies)
    heading: Document | None = None
    body = bytearray()
    count, now = 0, 0.0

    def carry(data: bytes, to: Sender | Receiver) -> None:
        nonlocal count
        outcome.carried += len(data)
        at = max(now + DELAY, free[id(to)])
        while data:
            size = chance.randint(1, int(PIECE / character) or 1)
            piece, data = data[:size], data[size:]
            at += len(piece) * character
            count += 1
            heapq.heappush(arriving, (at, count, to, noise.damage(piece, chance)))
        free[id(to)] = at

    def do(effects: list[Effect], by: Sender | Receiver) -> None:
        nonlocal heading
        for effect in effects:
            if isinstance(effect, Send):
                carry(effect.data, receiver if by is sender else sender)
            elif isinstance(effect, Want):
                start = positions[effect.document]
                data = bodies[effect.document][start : start + chance.randrange(1, effect.count + 1)]
                positions[effect.document] += len(data)
                do(sender.supply(data, now), sender)
            elif isinstance(effect, Document):
                heading = effect
            elif isinstance(effect, Block):
                assert effect.data
                body.extend(effect.data)
            elif by is sender:
                if isinstance(effect, Ended):
                    outcome.acknowledged += 1
                else:
                    assert outcome.sender is None, "it is over only once"
                    outcome.sender = effect
            elif isinstance(effect, Ended):
                outcome.received.append((heading, bytes(body)))
                body.clear()
            else:
                assert outcome.receiver is None, "it is over only once"
                outcome.receiver = effect

    while outcome.sender is None or outcome.receiver is None:
        dues = [(due, side) for side in (sender, receiver) if (due := side.due()) is not None]
        if arriving and arriving[0][0] <= min((due for due, _ in dues), default=SECONDS):
            now, _, side, data = heapq.heappop(arriving)
            if data:
                do(side.feed(data, now), side)
        else:
            now, side = min(dues, key=lambda each: each[0])
            do(side.at(now), side)
        assert now < SECONDS
    outcome.seconds = now
    return outcome
