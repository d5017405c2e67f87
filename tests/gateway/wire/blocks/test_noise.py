"""Sender against receiver over a line that damages: whole documents or failures, and always an end.

One bit of a byte changes at a time, as on a real line; a byte may also be lost or come twice. The examples
are fixed, because CRC-16 lets one damaged block in 65,536 pass by its nature, as it must in the long run.
"""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.wire.blocks.effects import Document, Done, Failed
from gateway.wire.blocks.patience import Patience
from gateway.wire.blocks.receiving import Receiver
from gateway.wire.blocks.sending import Sender
from gateway.wire.blocks.xmodem import XmodemReceiver, XmodemSender
from gateway.wire.blocks.ymodem import YmodemReceiver, YmodemSender
from tests.gateway.wire.blocks.line import Noise, Outcome, transfer

SIZES = st.sampled_from([0, 1, 127, 128, 129, 896, 897, 1023, 1024, 1025, 5000]) | st.integers(0, 40_000)
RATES = st.sampled_from([0.0, 0.00001, 0.0001, 0.001, 0.01])
NOISES = st.builds(Noise, RATES, RATES, RATES)
SEEDS = st.integers(0, 2**32)
fixed = settings(max_examples=150, derandomize=True)


def body(size: int, seed: int) -> bytes:
    return random.Random(seed).randbytes(size)


def both_agree(outcome: Outcome, count: int) -> None:
    """Only the very last acknowledgement may leave the two in doubt, as no protocol can prevent."""
    assert outcome.acknowledged <= len(outcome.received)
    if isinstance(outcome.sender, Done):
        assert outcome.acknowledged == len(outcome.received) == count
    if isinstance(outcome.receiver, Done):
        assert len(outcome.received) == count


@fixed
@given(SIZES, NOISES, SEEDS, st.booleans())
def test_xmodem(size: int, noise: Noise, seed: int, kilobyte: bool) -> None:
    data = body(size, seed)
    outcome = transfer(XmodemSender(0.0, kilobyte=kilobyte), XmodemReceiver(0.0), [data], noise, seed)
    both_agree(outcome, 1)
    for _, found in outcome.received:
        assert found[:size] == data
        assert not found[size:].strip(b"\x1a")
        assert len(found) - size < (1024 if kilobyte else 128)


@fixed
@given(st.lists(SIZES, max_size=4), NOISES, SEEDS, st.booleans())
def test_ymodem(sizes: list[int], noise: Noise, seed: int, kilobyte: bool) -> None:
    bodies = [body(size, seed + size) for size in sizes]
    documents = [Document(f"no. {number}", len(each), 1 + number) for number, each in enumerate(bodies)]
    sender = YmodemSender(documents, 0.0, kilobyte=kilobyte)
    outcome = transfer(sender, YmodemReceiver(0.0), bodies, noise, seed)
    both_agree(outcome, len(bodies))
    expected = list(zip(documents, bodies, strict=True))
    assert outcome.received == expected[: len(outcome.received)]


@settings(max_examples=30, derandomize=True)
@given(SIZES, SEEDS)
def test_a_clean_line_needs_no_second_try(size: int, seed: int) -> None:
    data = body(size, seed)
    outcome = transfer(YmodemSender([Document("a", size)], 0.0), YmodemReceiver(0.0), [data], seed=seed)
    assert outcome.sender == outcome.receiver == Done()
    assert outcome.received == [(Document("a", size), data)]
    large, rest = divmod(size, 1024)
    small = -(-rest // 128) if rest <= 896 else 0
    blocks = large * 1029 + (1029 if rest > 896 else small * 133)
    answers = 1 + 2 + large + (1 if rest > 896 else small) + 1 + 2 + 1
    assert outcome.carried == 2 * 133 + blocks + 2 + answers


@pytest.mark.parametrize("character", [1 / 30, 1 / 120, 1 / 1920, 1 / 11_520])
def test_no_speed_of_a_line_is_too_slow(character: float) -> None:
    """300 bits a second, where 1,024 bytes take 34 seconds, to 115,200."""
    for sender, receiver in (
        (XmodemSender(0.0), XmodemReceiver(0.0)),
        (XmodemSender(0.0, kilobyte=True), XmodemReceiver(0.0)),
        (YmodemSender([Document("a", 5000)], 0.0), YmodemReceiver(0.0)),
    ):
        outcome = transfer(sender, receiver, [body(5000, 1)], character=character)
        assert outcome.sender == outcome.receiver == Done()
        assert outcome.received[0][1][:5000] == body(5000, 1)
        assert outcome.carried < 5000 * 1.15


def test_a_dead_line_ends_both() -> None:
    outcome = transfer(XmodemSender(0.0), XmodemReceiver(0.0), [b"lost"], Noise(drops=1.0))
    assert outcome.sender == Failed("Nobody asked for the document")
    assert outcome.receiver == Failed("Nothing came")


@fixed
@given(st.lists(st.tuples(st.binary(max_size=1100), st.floats(0, 30)), max_size=30))
def test_random_bytes_never_break_anything(pieces: list[tuple[bytes, float]]) -> None:
    now = 0.0
    sides: list[Receiver | Sender] = [
        XmodemReceiver(now), XmodemReceiver(now, text=True), YmodemReceiver(now),
        XmodemSender(now), YmodemSender([Document("a", 3)], now),
    ]  # fmt: skip
    for data, pause in pieces:
        now += pause
        for side in sides:
            side.at(now)
            side.feed(data, now)
    for side in sides:
        side.cancel("enough")
        assert side.due() is None
        assert side.at(now + 1e9) == []


@fixed
@given(st.binary(max_size=4000), st.lists(st.integers(1, 300), min_size=1, max_size=20), SEEDS)
def test_chunking_never_matters(noise: bytes, cuts: list[int], seed: int) -> None:
    """The same bytes at the same time, whole, byte by byte and in pieces."""
    whole = noise[:50] + bytes.fromhex("01 01 FE") + bytes(128) + b"\0\0" + noise[50:]
    found = []
    for sizes in ([len(whole)], [1], cuts):
        for side in (XmodemReceiver(0.0), YmodemReceiver(0.0), XmodemSender(0.0)):
            effects = side.at(0.0)
            position = 0
            while position < len(whole):
                for size in sizes:
                    effects += side.feed(whole[position : position + size], 1.0)
                    position += size
            while (due := side.due()) is not None and due < 100:
                effects += side.at(due)
            found.append(effects)
    assert found[:3] == found[3:6] == found[6:]


def test_nobody_waits_longer_than_patience_allows() -> None:
    patience = Patience(answer=2.0, block=1.0, ask=0.5, tries=3, asks=1)
    receiver, asked = XmodemReceiver(0.0, patience), []
    while (due := receiver.due()) is not None:
        asked.append((due, receiver.at(due)))
    assert [round(at, 3) for at, _ in asked] == [0.0, 0.5, 1.5, 2.5, 3.5][: len(asked)]
    assert asked[-1][1][-1] == Failed("Nothing came")
