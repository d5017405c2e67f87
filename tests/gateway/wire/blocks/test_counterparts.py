"""Against independent programs: sx, rx, sb and rb of Debian's lrzsz, both ways, on clean and noisy lines."""

import os
import random
from pathlib import Path

import pytest

from gateway.wire.blocks.effects import Document, Done, Effect, Failed
from gateway.wire.blocks.xmodem import XmodemReceiver, XmodemSender
from gateway.wire.blocks.ymodem import YmodemReceiver, YmodemSender
from tests.gateway.wire.blocks.counterpart import QUICK, needs_lrzsz, talk
from tests.gateway.wire.blocks.line import Noise

pytestmark = needs_lrzsz

SIZES = [0, 1, 127, 128, 129, 1023, 1024, 1025, 100_000]
NOISES = [
    Noise(flips=0.00005),
    Noise(drops=0.00005),
    Noise(doubles=0.00005),
    Noise(0.00003, 0.00003, 0.00003),
]
MOMENT = 1_000_000_000


def body(size: int) -> bytes:
    return random.Random(size).randbytes(size)


def unfilled(found: bytes, size: int) -> bytes:
    """What XMODEM brought, whose filling must be SUB and shorter than a block."""
    assert not found[size:].strip(b"\x1a")
    assert len(found) - size < 1024
    return found[:size]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("options", [(), ("-k",)], ids=["128", "1024"])
def test_xmodem_from_a_real_sender(size: int, options: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "sent").write_bytes(body(size))
    found = talk(XmodemReceiver(0.0, QUICK), ["sx", "-q", *options, "sent"], tmp_path)
    assert (found.last, found.code) == (Done(), 0)
    assert unfilled(found.received[0][1], size) == body(size)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("kilobyte", [False, True], ids=["128", "1024"])
@pytest.mark.parametrize("options", [(), ("-c",)], ids=["checksum", "crc"])
def test_xmodem_to_a_real_receiver(
    size: int, kilobyte: bool, options: tuple[str, ...], tmp_path: Path
) -> None:
    sender = XmodemSender(0.0, QUICK, kilobyte=kilobyte)
    found = talk(sender, ["rx", "-q", *options, "received"], tmp_path, [body(size)])
    assert (found.last, found.code) == (Done(), 0)
    assert unfilled((tmp_path / "received").read_bytes(), size) == body(size)


def names() -> dict[str, bytes]:
    """Three documents: the real receiver takes two seconds after each."""
    return {f"no {size} of it.bin": body(size) for size in (0, 1025, 100_000)}


def test_ymodem_from_a_real_sender(tmp_path: Path) -> None:
    for name, data in names().items():
        (tmp_path / name).write_bytes(data)
        os.utime(tmp_path / name, (MOMENT, MOMENT))
    found = talk(YmodemReceiver(0.0, QUICK), ["sb", "-q", *names()], tmp_path)
    assert (found.last, found.code) == (Done(), 0)
    assert found.received == [(Document(name, len(data), MOMENT), data) for name, data in names().items()]


@pytest.mark.parametrize("kilobyte", [False, True], ids=["128", "1024"])
def test_ymodem_to_a_real_receiver(kilobyte: bool, tmp_path: Path) -> None:
    documents = [Document(name, len(data), MOMENT) for name, data in names().items()]
    sender = YmodemSender(documents, 0.0, QUICK, kilobyte=kilobyte)
    found = talk(sender, ["rb", "-q"], tmp_path, list(names().values()))
    assert (found.last, found.code) == (Done(), 0)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == names()
    assert {path.stat().st_mtime for path in tmp_path.iterdir()} == {MOMENT}


@pytest.mark.parametrize("noise", NOISES, ids=str)
def test_a_noisy_line_from_a_real_sender(noise: Noise, tmp_path: Path) -> None:
    (tmp_path / "sent").write_bytes(body(50_000))
    found = talk(YmodemReceiver(0.0, QUICK), ["sb", "-q", "sent"], tmp_path, noise=noise, seed=1)
    assert (found.last, found.code) == (Done(), 0)
    assert [data for _, data in found.received] == [body(50_000)]


@pytest.mark.parametrize("noise", NOISES, ids=str)
def test_a_noisy_line_to_a_real_receiver(noise: Noise, tmp_path: Path) -> None:
    sender = YmodemSender([Document("sent", 50_000)], 0.0, QUICK)
    found = talk(sender, ["rb", "-q"], tmp_path, [body(50_000)], noise=noise, seed=2)
    assert (found.last, found.code) == (Done(), 0)
    assert (tmp_path / "sent").read_bytes() == body(50_000)


class Full(XmodemReceiver):
    """Has no room for a third block."""

    def _block(self, data: bytes, now: float) -> list[Effect]:
        return self.cancel("no room") if self._expected == 3 else super()._block(data, now)


def test_a_real_sender_that_is_told_to_stop(tmp_path: Path) -> None:
    """It takes our CANs, and ends with an error."""
    (tmp_path / "sent").write_bytes(body(100_000))

    found = talk(Full(0.0, QUICK), ["sx", "-q", "sent"], tmp_path)
    assert found.last == Failed("no room")
    assert found.code not in {0, -9}


def test_a_real_receiver_whose_source_fails(tmp_path: Path) -> None:
    sender = YmodemSender([Document("a", 5)], 0.0, QUICK)
    found = talk(sender, ["rb", "-q"], tmp_path, [b"abc"])
    assert found.last == Failed("The document is shorter than was told")
    assert found.code not in {0, -9}
