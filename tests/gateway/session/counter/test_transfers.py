"""Transfers at a counter: the clock, what a partner misses, and the quiet behind them."""

import pytest

from gateway.catalogue.model import Handshake, SerialDevice
from gateway.session.counter.transfers import unclean
from gateway.session.wishes import ReadWish, Wish
from gateway.wire.blocks.effects import Document, Done, Failed
from gateway.wire.blocks.frame import ACK, CANCEL, EOT, build
from gateway.wire.blocks.xmodem import XmodemReceiver, XmodemSender
from gateway.wire.blocks.ymodem import YmodemReceiver, YmodemSender
from gateway.wire.settings import Settings
from tests.gateway.session.counter.clients import Client
from tests.gateway.session.files.far import CLUB, Far

BODY = bytes(range(256)) * 40
SEVEN, FLOW = "This line has 7 bits", "This line keeps 11h and 13h"


@pytest.mark.parametrize(
    ("settings", "device", "sentence"),
    [
        (Settings(), None, ""),
        (Settings(), SerialDevice("/dev/x", handshake=Handshake.RTSCTS), ""),
        (Settings(bits=7), None, SEVEN),
        (Settings(), SerialDevice("/dev/x", bits=7), SEVEN),
        (Settings(flow="xon"), None, FLOW),
        (Settings(), SerialDevice("/dev/x", handshake=Handshake.XONXOFF), FLOW),
    ],
)
def test_lines_that_are_not_clean(settings: Settings, device: SerialDevice | None, sentence: str) -> None:
    found = unclean(settings, device)
    assert found.startswith(sentence)
    assert bool(found) == bool(sentence)


@pytest.mark.parametrize("slow", [0.0, 5.0, 70.0])
def test_a_slow_far_server_or_line_is_nobodys_silence(slow: float) -> None:
    """70 s are more than any patience: no block goes twice, since the clock stands meanwhile."""
    client = Client(Far(documents={CLUB + "a.bin": BODY}), slow=slow)
    client.starts("READ a.bin")
    receiver = YmodemReceiver(0.0)
    seen = 0

    def fed(data: bytes, now: float) -> object:
        nonlocal seen
        seen += len(data)
        return type(receiver).feed(receiver, data, now)

    receiver.feed = fed  # type: ignore[assignment, method-assign]
    met = client.meets(receiver, seconds=10_000.0)
    assert met.received == [(Document("a.bin", len(BODY)), BODY)]
    assert seen == 133 + 10 * 1029 + 2 + 133  # headings, blocks, and the end, which is said twice


def test_a_sender_that_missed_the_last_acknowledgement_is_answered_late() -> None:
    client = Client()
    client.starts("STORE a xmodem")
    assert client.meets(XmodemSender(0.0), [BODY]).last == Done()
    assert client.answer() == [f"a: {len(BODY)} bytes stored"]
    client.wait(10.0)
    client.type(bytes([EOT]))
    assert client.told() == bytes([ACK])
    client.wait(2.0)
    assert client.ask("BASE") == ["You are in CLUB:"]


def test_a_batch_whose_last_acknowledgement_was_missed() -> None:
    """The closing block comes again, in two pieces, and is no typing."""
    client, sender = Client(), YmodemSender([Document("a", 3)], 0.0)
    client.starts("STORE")
    assert client.meets(sender, [b"abc"]).last == Done()
    client.told()
    last = bytes([1, 0, 255]) + bytes(130)
    client.type(last[:60])
    client.type(last[60:])
    assert client.told() == bytes([ACK])
    client.wait(2.0)
    assert client.ask("BASE") == ["You are in CLUB:"]


def test_what_comes_behind_a_failure_is_never_a_command() -> None:
    """The rest of a block that was on its way when the counter gave up."""
    far = Far()
    client = Client(far)
    client.starts("STORE a xmodem")
    sender = XmodemSender(0.0)
    sender.feed(b"C", 1.0)
    client.type(b"\x18\x18")
    client.type(b"junk\rSTORE other\rBASE docs\r")
    assert client.told().replace(CANCEL, b"") == b"C"
    client.wait(2.0)
    assert client.answer() == ["a was not stored. The sender gave up"]
    assert [tray.dropped for tray in far.trays] == [1]
    assert client.ask("BASE ..") == ["You are in CLUB:"]


def test_a_command_right_behind_a_success() -> None:
    """Nobody has to wait for the prompt."""
    client = Client(Far(documents={CLUB + "a": b"abc"}))
    client.starts("READ a xmodem")
    receiver = XmodemReceiver(0.0)
    receiver_done: list[object] = []
    began = client.now
    while not receiver_done:
        for effect in (*receiver.feed(client.told(), client.now - began), *receiver.at(client.now - began)):
            if isinstance(effect, Done | Failed):
                receiver_done.append(effect)
            elif hasattr(effect, "data") and type(effect).__name__ == "Send":
                client.type(effect.data)
        client.now += 0.25
    client.type(b"BASE\r")
    assert client.told().endswith(b"a: 3 bytes sent\r\n> You are in CLUB:\r\n> ")


@pytest.mark.parametrize("line", ["READ a", "READ a xmodem", "STORE b", "STORE b xmodem", "STORE"])
def test_nobody_there(line: str) -> None:
    """It gives up by itself, says so, and goes on."""
    far = Far(documents={CLUB + "a": b"abc"})
    client = Client(far)
    client.starts(line)
    client.wait(200.0)
    assert client.told().rpartition(CANCEL)[2].splitlines()[-2:-1] != []
    assert all(tray.dropped for tray in far.trays)
    assert client.ask("BASE") == ["You are in CLUB:"]


def test_a_fault_of_the_far_server_is_told_to_both() -> None:
    """The partner gets its CANs, the person the reason."""
    reads = 0

    def fault(wish: Wish) -> Exception | None:
        nonlocal reads
        reads += isinstance(wish, ReadWish)
        return None

    far = Far(documents={CLUB + "a": bytes(3_000_000)}, fault=fault)  # type: ignore[arg-type]
    client = Client(far)
    client.starts("READ a")
    receiver = YmodemReceiver(0.0)
    original = far.grant

    def changed(wish: Wish) -> object:
        far.versions[CLUB + "a"] = 1  # from the first window on
        return original(wish)

    far.grant = changed  # type: ignore[assignment, method-assign]
    met = client.meets(receiver)
    assert met.last == Failed("The sender gave up")
    assert met.received == []
    assert client.answer()[0].startswith("a was not sent whole. Changed meanwhile")


def test_a_receiver_that_asks_before_it_has_read_all_of_the_line() -> None:
    """Its request counts; what was typed ahead of the line does not."""
    client = Client(Far(documents={CLUB + "a": b"abc"}))
    client.meanwhile = {b"Control X twice gives up.\r\n": b"C"}
    client.type(b"READ a xmodem\rBASE\r")
    told = client.told()
    assert told.endswith(build(1, b"abc", crc=True))
    client.type(bytes([ACK]))
    client.type(bytes([ACK]))
    client.wait(2.0)
    assert client.told() == bytes([EOT]) + b"a: 3 bytes sent\r\n> "
