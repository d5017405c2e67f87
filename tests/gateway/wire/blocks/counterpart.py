"""The programs of Debian's lrzsz at the other end of a socket pair, with a line between that may be noisy."""

import random
import selectors
import shutil
import socket
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gateway.wire.blocks.effects import Block, Document, Effect, Ended, Send, Want
from gateway.wire.blocks.patience import Patience
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Sender
from tests.gateway.wire.blocks.line import CLEAN, Noise

needs_lrzsz = pytest.mark.skipif(
    any(shutil.which(name) is None for name in ("sx", "rx", "sb", "rb")),
    reason="LRZSZ IS MISSING: no real counterpart for XMODEM and YMODEM (apt-get install lrzsz)",
)

QUICK = Patience(between=0.15, ask=1.0, end=0.05)
"""What the counterpart is near enough for, so that noise costs less time."""

SECONDS = 90.0


@dataclass
class Talk:
    """What a transfer with a real program came to."""

    received: list[tuple[Document | None, bytes]] = field(default_factory=list)
    effects: list[Effect] = field(default_factory=list)  # other than bytes
    code: int | None = None

    @property
    def last(self) -> Effect:
        return self.effects[-1]


def talk(
    side: Sender | Receiver,
    command: Sequence[str],
    folder: Path,
    bodies: Sequence[bytes] = (),
    noise: Noise = CLEAN,
    seed: int = 0,
) -> Talk:
    """Our side against the program until it ends. The clock of `side` begins at 0."""
    found, chance = Talk(), random.Random(seed)
    positions = [0] * len(bodies)
    heading: Document | None = None
    body = bytearray()
    ours, theirs = socket.socketpair()
    began = time.monotonic()
    with (
        ours,
        subprocess.Popen(
            command, cwd=folder, stdin=theirs.fileno(), stdout=theirs.fileno(), stderr=subprocess.DEVNULL
        ) as done,
    ):
        theirs.close()

        def do(effects: list[Effect]) -> None:
            nonlocal heading
            for effect in effects:
                if isinstance(effect, Send):
                    try:
                        ours.sendall(noise.damage(effect.data, chance))
                    except BrokenPipeError:
                        return  # it ended, as its exit code tells
                elif isinstance(effect, Want):
                    start = positions[effect.document]
                    data = bodies[effect.document][start : start + effect.count]
                    positions[effect.document] += len(data)
                    do(side.supply(data, time.monotonic() - began))  # type: ignore[union-attr]  # only a sender wants
                elif isinstance(effect, Block):
                    body.extend(effect.data)
                else:
                    found.effects.append(effect)
                    if isinstance(effect, Document):
                        heading = effect
                    elif isinstance(effect, Ended) and isinstance(side, Receiver):
                        found.received.append((heading, bytes(body)))
                        body.clear()

        waiting = selectors.DefaultSelector()
        waiting.register(ours, selectors.EVENT_READ)
        while time.monotonic() - began < SECONDS:
            due = side.due()
            now = time.monotonic() - began
            if waiting.select(0.5 if due is None else max(0.0, min(due - now, 0.5))):
                try:
                    data = ours.recv(4096)
                except ConnectionResetError:
                    data = b""
                if not data:
                    break
                do(side.feed(noise.damage(data, chance), time.monotonic() - began))
            do(side.at(time.monotonic() - began))
        if done.poll() is None and time.monotonic() - began >= SECONDS:
            done.kill()
        found.code = done.wait(10)
    return found
