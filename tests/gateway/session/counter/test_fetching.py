"""READ at a counter, against receivers in virtual time."""

from contextlib import suppress
from datetime import UTC, datetime

import pytest

from adapters import limits
from adapters.errors import TooSlow
from adapters.files import Kind, Stat, quoted
from gateway.catalogue.calling.targets import Ref
from gateway.session.counter.commands import Blocks
from gateway.session.counter.fetching import Fetching, Window
from gateway.session.wishes import Part, ReadWish, Wish
from gateway.wire.blocks.effects import Document, Done, Failed
from gateway.wire.blocks.xmodem import XmodemReceiver
from gateway.wire.blocks.ymodem import YmodemReceiver
from tests.gateway.session.counter.clients import Client
from tests.gateway.session.files.far import CLUB, FROM, Far

SIZES = [0, 1, 127, 128, 129, 1_024, 8_192, 8_193, 70_000]


def body(size: int) -> bytes:
    return bytes(index * 7 % 256 for index in range(size))


@pytest.mark.parametrize("size", SIZES)
def test_ymodem(size: int) -> None:
    client = Client(Far(documents={CLUB + "docs/a.bin": body(size)}))
    client.starts("READ docs/a.bin")
    met = client.meets(YmodemReceiver(0.0))
    assert (met.last, met.received) == (Done(), [(Document("a.bin", size), body(size))])
    assert client.answer() == [f"a.bin: {'1 byte' if size == 1 else f'{size} bytes'} sent"]


@pytest.mark.parametrize("size", SIZES)
def test_xmodem_fills_up_the_last_block(size: int) -> None:
    client = Client(Far(documents={CLUB + "a.bin": body(size)}))
    client.starts("READ a.bin xmodem")
    met = client.meets(XmodemReceiver(0.0))
    assert (met.last, met.received) == (Done(), [(None, body(size) + b"\x1a" * (-size % 128))])


def test_a_document_whose_size_nobody_knows() -> None:
    """Blocks 0 and on tell no size; the filling stays, as with XMODEM."""
    client = Client(Far(documents={CLUB + "a": body(1_500)}, knows_size=False))
    client.starts("READ a")
    assert client.meets(YmodemReceiver(0.0)).received == [(Document("a"), body(1_500).ljust(1_536, b"\x1a"))]


def test_a_large_document_is_read_in_windows() -> None:
    size = 2 * limits.READ_WINDOW_BYTES + 5
    client = Client(Far(documents={CLUB + "a": body(size)}))
    client.starts("READ a")
    met = client.meets(YmodemReceiver(0.0), seconds=10_000)
    assert met.received == [(Document("a", size), body(size))]
    reads = [wish for wish in client.wishes if isinstance(wish, ReadWish)]
    assert [wish.offset for wish in reads] == [0, limits.READ_WINDOW_BYTES, 2 * limits.READ_WINDOW_BYTES]
    assert {wish.count for wish in reads} == {limits.READ_WINDOW_BYTES}
    assert [wish.same is None for wish in reads] == [True, False, False]


def test_a_far_server_that_becomes_too_slow() -> None:
    def fault(wish: Wish) -> TooSlow | None:
        return TooSlow("The far server took too long") if isinstance(wish, ReadWish) and wish.offset else None

    client = Client(Far(documents={CLUB + "a": body(limits.READ_WINDOW_BYTES + 1)}, fault=fault))
    client.starts("READ a xmodem")
    assert client.meets(XmodemReceiver(0.0), seconds=10_000).last == Failed("The sender gave up")
    assert " ".join(client.answer()) == "a was not sent whole. The far server took too long"


@pytest.mark.parametrize(
    ("name", "sent"),
    [
        ("a b.txt", "a b.txt"),
        ("Größe.txt", "Grosse.txt"),
        ("x∕y", "x_y"),
        ("…", "document"),
    ],
)
def test_names_that_an_old_program_can_take(name: str, sent: str) -> None:
    """ASCII, and never what reads as a folder; U+2215 is written as a slash elsewhere."""
    url = CLUB + quoted(name.encode())
    client = Client(Far(documents={url: b"x"}), slow=0.0)
    client.starts(f'READ "{url.removeprefix(CLUB)}"')
    assert client.meets(YmodemReceiver(0.0)).received == [(Document(sent, 1), b"x")]


def test_the_time_goes_along() -> None:
    stat = Stat(Kind.FILE, 3, datetime(2026, 5, 17, tzinfo=UTC))
    window = Window(Ref(CLUB + "a"))
    filling = window.fill()
    next(filling)
    with suppress(StopIteration):
        filling.send(Part(b"abc", 3, True, stat, FROM))
    assert Fetching(window, "a", Blocks.YMODEM)._document == Document("a", 3, 1_778_976_000)
