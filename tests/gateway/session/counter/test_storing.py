"""STORE at a counter, from senders in virtual time."""

import pytest

from adapters import limits
from adapters.errors import ChangedMeanwhile, HeadraceError, NoRoom
from gateway.session.wishes import DataWish, DeliverWish, StageWish, Wish
from gateway.wire.blocks.effects import Document, Done, Effect, Failed
from gateway.wire.blocks.frame import ACK, EOT, NAK
from gateway.wire.blocks.xmodem import XmodemSender
from gateway.wire.blocks.ymodem import YmodemSender
from tests.gateway.session.counter.clients import Client, Met, with_settings
from tests.gateway.session.files.far import CLUB, Far

SIZES = [1, 127, 128, 129, 1_024, 70_000]


def body(size: int) -> bytes:
    return bytes(index * 11 % 256 for index in range(size))


def batch(client: Client, *names: str, data: bytes = b"abc", line: str = "STORE") -> Met:
    client.starts(line)
    documents = [Document(name, len(data)) for name in names]
    return client.meets(YmodemSender(documents, 0.0), [data] * len(names))


@pytest.mark.parametrize("size", [0, *SIZES])
def test_ymodem(size: int) -> None:
    client = Client(ref="CLUB:docs/")
    assert batch(client, "a.bin", data=body(size)).last == Done()
    assert client.far.documents == {CLUB + "docs/a.bin": body(size)}
    assert client.answer() == [f"a.bin: {'1 byte' if size == 1 else f'{size} bytes'} stored"]
    assert all(each <= limits.STAGE_BYTES + 1_024 for tray in client.far.trays for each in tray.sizes)


@pytest.mark.parametrize("size", SIZES)
def test_xmodem_keeps_what_fills_up_the_last_block(size: int) -> None:
    client = Client()
    client.starts("STORE a.bin xmodem")
    assert client.meets(XmodemSender(0.0), [body(size)]).last == Done()
    assert client.far.documents == {CLUB + "a.bin": body(size) + b"\x1a" * (-size % 128)}


def test_a_batch_under_its_own_names() -> None:
    client = Client()
    assert batch(client, "a", "b c", "Höhe").last == Done()
    assert client.far.documents == {CLUB + name: b"abc" for name in ("a", "b%20c", "H%C3%B6he")}
    assert client.answer() == ["a: 3 bytes stored", "b c: 3 bytes stored", "Hohe: 3 bytes stored"]


def test_an_empty_batch() -> None:
    client = Client()
    assert batch(client).last == Done()
    assert client.answer() == ["Nothing came, and nothing was stored"]


def test_a_name_that_was_given_goes_before_the_one_that_comes() -> None:
    client = Client()
    assert batch(client, "theirs", line="STORE docs/ours").last == Done()
    assert client.far.documents == {CLUB + "docs/ours": b"abc"}


def test_one_name_is_for_one_document() -> None:
    client = Client()
    assert batch(client, "a", "b", line="STORE ours").last == Failed("The receiver gave up")
    assert client.far.documents == {CLUB + "ours": b"abc"}
    told = " ".join(client.answer())
    assert told == "ours: 3 bytes stored One name was given, and a second document came"


@pytest.mark.parametrize(
    ("name", "stored"),
    [
        ("../../etc/passwd", "passwd"),  # a path's last name, as `heading` takes it
        ("C:\\GAMES\\A.DAT", "A.DAT"),
        ("..", "document"),
        ("%2e%2e", None),
        ("%2e%2e%2fx", None),
        ("..;x", None),
        ("#1", "%231"),
        ("a?b", "a%3Fb"),
        ("shelf:a", "shelf:a"),
        ("n" * 255, "n" * 255),
        ("n" * 256, None),
        ("ö" * 128, None),
    ],
)
def test_names_that_come_are_one_name_in_the_folder(name: str, stored: str | None) -> None:
    client = Client(ref="CLUB:docs/")
    met = batch(client, name)
    expected = {} if stored is None else {f"{CLUB}docs/{stored}": b"abc"}
    assert client.far.documents == expected
    if stored is None:
        assert met.last == Failed("The receiver gave up")
        assert client.answer()[0].startswith("The next one was not stored.")
        assert client.far.trays == []


def test_names_from_a_machine_of_capitals() -> None:
    client = Client(settings=with_settings(typed="lower"))
    assert batch(client, "HELLO.TXT").last == Done()
    assert client.far.documents == {CLUB + "hello.txt": b"abc"}


@pytest.mark.parametrize(
    ("kind", "error"),
    [
        (StageWish, NoRoom("No room")),
        (DataWish, NoRoom("No room")),
        (DeliverWish, ChangedMeanwhile("Not so")),
    ],
)
def test_a_batch_that_fails_half_way_says_what_is_kept(kind: type[Wish], error: HeadraceError) -> None:
    seen = 0

    def fault(wish: Wish) -> HeadraceError | None:
        nonlocal seen
        seen += isinstance(wish, kind)
        return error if isinstance(wish, kind) and seen == 2 else None

    client = Client(Far(fault=fault))
    assert batch(client, "a", "b", "c").last == Failed("The receiver gave up")
    assert client.far.documents == {CLUB + "a": b"abc"}
    assert client.answer() == ["a: 3 bytes stored", f"b was not stored. {error.sentence}"]
    if kind is not DeliverWish:  # from there on it is the service's
        assert [tray.dropped for tray in client.far.trays[1:]] == ([] if kind is StageWish else [1])


def test_one_that_fails_at_its_very_end_is_not_acknowledged() -> None:
    error = ChangedMeanwhile("Somebody else stored it")
    client = Client(Far(fault=lambda wish: error if isinstance(wish, DeliverWish) else None))
    client.starts("STORE a xmodem")
    assert client.meets(XmodemSender(0.0), [b"abc"]).last == Failed("The receiver gave up")
    assert " ".join(client.answer()) == "a was not stored. Somebody else stored it"


def test_one_that_is_told_to_be_too_large() -> None:
    client = Client()
    client.starts("STORE")
    sender = YmodemSender([Document("a", limits.SPOOL_BYTES + 1)], 0.0)
    assert client.meets(sender, [b""]).last == Failed("The receiver gave up")
    assert client.far.trays == []


def test_one_that_goes_on_without_its_client() -> None:
    client = Client(Far(code=150))
    assert batch(client, "a").last == Done()
    assert client.answer() == ["a: 3 bytes came, and are being stored"]


@pytest.mark.parametrize("line", ["STORE a", "STORE a xmodem"])
def test_a_line_that_is_lost_stores_nothing(line: str) -> None:
    client = Client()
    client.starts(line)
    client.steps.close()
    assert [tray.dropped for tray in client.far.trays] == [1]
    assert client.far.documents == {}


def test_a_line_that_is_lost_in_the_middle() -> None:
    client = Client()
    client.starts("STORE")
    sender = YmodemSender([Document("a", 5_000)], 0.0)
    now = client.now
    try:
        client.meets(sender, [], seconds=30)  # it has no bytes to supply
    except IndexError:
        client.steps.close()
    assert client.now > now
    assert [tray.dropped for tray in client.far.trays] == [1]
    assert client.far.documents == {}


def test_what_a_sender_repeats_while_it_is_stored_answers_nothing() -> None:
    """Storing takes longer than the sender waits, which says the end again: one acknowledgement is enough."""
    client = Client()

    def repeats(wish: Wish) -> None:
        if isinstance(wish, DeliverWish):
            client._came += bytes([EOT, EOT])

    client.far.fault = repeats
    client.starts("STORE a xmodem")
    seen = b""
    sender = XmodemSender(0.0)
    feed = sender.feed

    def noted(data: bytes, now: float) -> list[Effect]:
        nonlocal seen
        seen += data
        return feed(data, now)

    sender.feed = noted  # type: ignore[method-assign]
    assert client.meets(sender, [b"abc"]).last == Done()
    assert seen == bytes([ord("C"), ACK, NAK, ACK])  # asked; the block; the end, twice
    assert client.answer() == ["a: 128 bytes stored"]
