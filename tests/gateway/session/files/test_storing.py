"""STORE and APPEND: nothing half written, and no data line ever run (CONTRACT sections 1 and 3)."""

import pytest

from adapters import limits
from adapters.errors import HeadraceError, MayBeDone, NoRoom, NotPossible
from gateway.catalogue.model import LineEnd
from gateway.session.wishes import DataWish, DeliverWish, StageWish
from gateway.wire.lines import Line
from tests.gateway.service.gate import checked
from tests.gateway.session.files.far import CLUB, PLACES, Far, FarTalk, far_talk


@pytest.fixture
def talk() -> FarTalk:
    return far_talk(Far({CLUB + "a.txt": b"old\n"}))


def test_store(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    assert talk.url("a.txt") == b"old\n"
    assert talk.say(">Hello there") is None
    assert talk.say("? >  two ") is None
    assert talk.say(">") is None
    assert talk.say(">>quoted") is None
    assert talk.say(">.") is None
    assert talk.url("a.txt") == b"old\n"
    assert talk.say(".") == ("250 00000 000 ..", [])
    assert talk.url("a.txt") == b"Hello there\n  two \n\n>quoted\n.\n"
    assert talk.status("NOOP") == "200 00000 000 .."


def test_append(talk: FarTalk) -> None:
    talk.ready("APPEND club:a.txt")
    talk.say(">new")
    assert talk.status("? .") == "250 00000 000 .."
    assert talk.url("a.txt") == b"old\nnew\n"


def test_nothing_makes_an_empty_document(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    assert talk.status(".") == "250 00000 000 .."
    assert talk.url("a.txt") == b""


def test_text_is_utf_8_with_the_places_line_end(talk: FarTalk) -> None:
    assert PLACES["DOS"].lines is LineEnd.CRLF
    talk.raw(b"SET charset=latin1\r")
    talk.raw(b"STORE dos:a\r>caf\xe9\r>b\r.\r")
    assert talk.far.documents["dav://far.example/dos/a"] == "café\r\nb\r\n".encode()
    talk.raw(b"SET charset=cp437\r")
    talk.raw(b"STORE club:a.txt\r>caf\x82\r.\r")
    assert talk.url("a.txt") == "café\n".encode()


@pytest.mark.parametrize(
    "line", ["BYE", "ERASE club:a.txt", "..", " .", ". ", "Z" * 300, "TIME", "STORE club:b"]
)
def test_any_other_line_ends_it_and_is_not_run(talk: FarTalk, line: str) -> None:
    talk.ready("STORE club:a.txt")
    talk.say(">new")
    assert talk.session.unfinished == "nothing stored"
    assert talk.say(line) == ("503 00001 040 ..", ["A line lacked its >; nothing stored".ljust(40)])
    assert not talk.session.unfinished
    assert talk.url("a.txt") == b"old\n"
    assert [each.dropped for each in talk.far.trays] == [1]
    assert [type(wish) for wish in talk.wishes] == [StageWish]
    assert talk.say(">more") is None
    assert talk.status("NOOP") == "200 00000 000 .."


@pytest.mark.parametrize("line", ["", " ", "? ", "?"])
def test_empty_lines_are_ignored(talk: FarTalk, line: str) -> None:
    talk.ready("STORE club:a.txt")
    talk.say(">a")
    assert talk.say(line) is None
    talk.say(".")
    assert talk.url("a.txt") == b"a\n"


def test_cancel_ends_it_with_503(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    assert talk.raw(b">half a li\x18")[:16] == b"503 00001 040 .."
    assert talk.far.trays[0].dropped == 1
    assert talk.url("a.txt") == b"old\n"
    assert talk.raw(b"\x18") == b""


def test_cancel_while_the_last_part_goes_to_the_disk(talk: FarTalk) -> None:
    """The connection ends the steps there, and then passes on the CAN: the target is as it was."""
    talk.ready("STORE club:a.txt")
    talk.say(">new")
    talk.session.reader.feed(b".\r")
    line = talk.session.reader.next_event()
    assert isinstance(line, Line)
    steps = talk.session.respond(line)
    assert isinstance(next(steps), DataWish)
    steps.close()
    talk.session.abandoned()
    assert b"".join(talk.session.cancelled() or ())[:3] == b"503"
    assert talk.far.trays[0].dropped == 1
    assert talk.url("a.txt") == b"old\n"


def test_cancel_while_it_is_delivered_leaves_it_to_the_service(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    talk.session.reader.feed(b".\r")
    line = talk.session.reader.next_event()
    assert isinstance(line, Line)
    steps = talk.session.respond(line)
    assert isinstance(next(steps), DeliverWish)
    steps.close()
    talk.session.abandoned()
    assert talk.session.cancelled() is None
    assert talk.far.trays[0].dropped == 0
    assert talk.status("NOOP") == "200 00000 000 .."


def test_a_lost_line_drops_it(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    talk.raw(b">new\r.")  # the end of this line never came
    talk.session.lost()
    talk.session.lost()
    assert talk.far.trays[0].dropped == 1
    assert talk.url("a.txt") == b"old\n"


def test_what_fails_outside_drops_it_too(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    b"".join(talk.session.failed(HeadraceError()))
    assert talk.far.trays[0].dropped == 1
    assert talk.say(">new") is None
    assert talk.status(".") == "500 00001 040 .."


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("STORE", "501"),
        ("STORE club:a b", "501"),
        ("STORE club:a 5 6", "501"),
        ("STORE club:a -5", "501"),
        ("STORE club:a \u0665", "500"),
        ("STORE shelf:a", "532"),
        ("APPEND shelf:a", "532"),
        ("STORE http://open.example/a", "532"),
        ("STORE club:", "502"),
        ("STORE club:docs/", "502"),
        ("STORE club:a 1073741825", "552"),
        ("STORE nowhere:a", "550"),
    ],
)
def test_what_is_refused_before_anything_is_asked(talk: FarTalk, line: str, code: str) -> None:
    assert talk.raw(line.encode("utf-8") + b"\r")[:3] == code.encode()
    assert not talk.wishes
    assert talk.say(">data") is None
    assert talk.status(".") == "500 00001 040 .."
    assert talk.status("NOOP") == "200 00000 000 .."


def test_a_far_refusal_means_that_nothing_follows(talk: FarTalk) -> None:
    talk.far.fault = lambda wish: (
        NotPossible("STORE is not possible") if isinstance(wish, StageWish) else None
    )
    assert talk.status("STORE club:a.txt") == "502 00001 040 .."
    assert talk.raw(b">ERASE club:a.txt\r>BYE\r") == b""
    assert not talk.session.closing


def test_what_is_wrong_with_the_data_is_told_after_the_end(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    assert talk.say(">fine") is None
    assert talk.say(">caf\xe9") is None
    assert talk.say(">" + "x" * 100_000) is None
    assert talk.say(".") == ("501 00001 040 ..", ["Byte E9 hex is not in the charset".ljust(40)])
    assert talk.url("a.txt") == b"old\n"
    assert talk.far.trays[0].dropped
    assert not any(isinstance(wish, DataWish | DeliverWish) for wish in talk.wishes)


def test_no_room_is_told_after_the_end(talk: FarTalk) -> None:
    talk.far.fault = lambda wish: NoRoom("The spool is full") if isinstance(wish, DataWish) else None
    talk.ready("STORE club:a.txt")
    for _ in range(3):
        assert talk.say(">" + "x" * limits.STAGE_BYTES) is None
    assert talk.status(".") == "452 00001 040 .."
    assert sum(isinstance(wish, DataWish) for wish in talk.wishes) == 1
    assert talk.far.trays[0].dropped


def test_no_room_for_the_last_part(talk: FarTalk) -> None:
    talk.far.fault = lambda wish: NoRoom() if isinstance(wish, DataWish) else None
    talk.ready("STORE club:a.txt")
    talk.say(">short")
    assert talk.status(".")[:3] == "452"
    assert talk.url("a.txt") == b"old\n"
    assert talk.far.trays[0].dropped


def test_a_fault_of_the_delivery_is_told_and_the_staging_left_to_the_service(talk: FarTalk) -> None:
    talk.far.fault = lambda wish: MayBeDone() if isinstance(wish, DeliverWish) else None
    talk.ready("STORE club:a.txt")
    assert talk.status(".")[:3] == "558"
    talk.session.lost()
    assert not talk.far.trays[0].dropped


def test_what_goes_on_without_the_client_is_150_with_a_sentence(talk: FarTalk) -> None:
    talk.far.code = 150
    talk.ready("STORE club:a.txt")
    assert talk.say(".") == ("150 00001 040 ..", ["Begun; WHY tells how far it is".ljust(40)])
    talk.far.copied = 12_345
    told = [record.rstrip() for record in talk.records("WHY")]
    assert told == [
        "REQUEST  STORE club:a.txt",
        "REPLY    150 00001 040 ..",
        "COPIED   12345 bytes",
        "FROM     club",
    ]
    talk.far.copied = 99_999
    assert talk.records("WHY")[2].rstrip() == "COPIED   99999 bytes"


def test_data_goes_to_the_disk_in_parts(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    line = "x" * 999
    for _ in range(200):
        talk.say(f">{line}")
    talk.say(".")
    assert talk.far.trays[0].sizes == [limits.STAGE_BYTES] * 3 + [200_000 - 3 * limits.STAGE_BYTES]
    assert talk.url("a.txt") == f"{line}\n".encode() * 200


def test_a_data_line_has_no_length_limit(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    whole = bytes(32 + number % 95 for number in range(3_000_000))
    talk.raw(b"? >")
    most = 0
    for start in range(0, len(whole), 10_000):
        assert talk.raw(whole[start : start + 10_000]) == b""
        most = max(most, len(talk.session.reader._typed.line))
    talk.raw(b"\r.\r")
    assert talk.url("a.txt") == whole + b"\n"
    assert most < limits.PIECE_BYTES + limits.LINE_BYTES


def test_a_long_line_can_be_rubbed_out_near_its_end(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    talk.raw(b">" + b"a" * 10_000 + b"b" * 200 + b"\x08" * 200 + b"c\r.\r")
    assert talk.url("a.txt") == b"a" * 10_000 + b"c\n"


def test_what_was_handed_on_cannot_be_rubbed_out_and_that_is_told(talk: FarTalk) -> None:
    """A document that is not what was typed is worse than none."""
    talk.ready("STORE club:a.txt")
    assert talk.raw(b">" + b"a" * 10_000 + b"\x08" * 9_000 + b"\r") == b""
    assert talk.raw(b".\r")[:3] == b"552"
    assert talk.url("a.txt") == b"old\n"


def test_a_long_line_in_which_can_comes(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    assert talk.raw(b">" + b"a" * 10_000 + b"\x18TIME\r")[:3] == b"503"
    assert talk.far.trays[0].dropped


def test_a_long_line_that_is_no_data_ends_the_transfer_once(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    assert talk.raw(b"a" * 10_000 + b"\r")[:3] == b"503"
    assert talk.raw(b"NOOP\r")[:3] == b"200"


def test_after_a_transfer_lines_have_their_limit_again(talk: FarTalk) -> None:
    talk.ready("STORE club:a.txt")
    talk.say(".")
    assert not talk.session.reader.data_lines
    assert talk.raw(b">" + b"x" * 10_000 + b"\r") == b""
    assert talk.raw(b"NOOP " + b"x" * 300 + b"\r")[:3] == b"500"


def test_of_several_garbled_lines_the_first_is_told(talk: FarTalk) -> None:
    talk.raw(b"SET check=crc\r")
    talk.raw(checked(b"STORE club:a.txt"))
    talk.raw(checked(b">one")[:-3] + b"?\r")
    talk.raw(checked(b">two")[:-3] + b"?\r")
    assert talk.raw(checked(b"."))[:3] == b"500"
    assert talk.far.trays[0].dropped
    assert talk.url("a.txt") == b"old\n"
