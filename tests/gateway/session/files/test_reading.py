"""READ and paging through what is read (CONTRACT sections 3 and 5); the dumps have tests of their own."""

import random
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from adapters.errors import BrokenOff, TooSlow
from gateway.session.wishes import ReadWish, WorkWish
from gateway.wire.lines import Line
from tests.gateway.session.files.far import CLUB, Far, FarTalk, far_talk

DOCUMENT = bytes(range(100))


@pytest.fixture
def talk() -> FarTalk:
    return far_talk(Far({CLUB + "a": DOCUMENT, CLUB + "none": b"", CLUB + "text": b"One\nthe second line\n"}))


def asked(talk: FarTalk) -> list[tuple[int, int]]:
    """Offset and count of every far request."""
    return [(wish.offset, wish.count) for wish in talk.wishes if isinstance(wish, ReadWish)]


def shown(talk: FarTalk, line: str) -> bytes:
    """The bytes that a hex reply shows."""
    return bytes.fromhex("".join(talk.records(line)))


def test_hex(talk: FarTalk) -> None:
    status, records = talk.say("READ club:a") or ("", [])
    assert status == "200 00005 040 .."
    assert records[0] == "000102030405060708090A0B0C0D0E0F10111213"
    assert bytes.fromhex("".join(records)) == DOCUMENT


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ("0", DOCUMENT),
        ("98", DOCUMENT[98:]),
        ("10 5", DOCUMENT[10:15]),
        ("90 1000", DOCUMENT[90:]),
        ("0099 1", DOCUMENT[99:]),
        ("b0", DOCUMENT[:32]),
        ("B2", DOCUMENT[64:96]),
        ("B3", DOCUMENT[96:]),
    ],
)
def test_offset_count_and_block(talk: FarTalk, words: str, part: bytes) -> None:
    talk.say("SET block=32")
    assert shown(talk, f"READ club:a {words}") == part
    assert talk.status("MORE") == "200 00000 000 .."


def test_why_tells_which_page_it_was(talk: FarTalk) -> None:
    talk.say("SET page=2")
    for line, shown_now in (("READ club:a", ""), ("MORE", "3-4"), ("AGAIN", "3-4"), ("MORE", "5-5")):
        talk.say(line)
        told = [each.split()[-1] for each in talk.records("WHY") if each.startswith("PAGE ")]
        assert told == ([shown_now] if shown_now else [])


@pytest.mark.parametrize("form", ["hex", "raw", "ihex", "line"])
@pytest.mark.parametrize(
    "words", ["a 100", "a 101", "a 9007199254740992", "a 5 0", "none", "none 0 5", "a B9"]
)
def test_nothing_there_is_no_error(talk: FarTalk, form: str, words: str) -> None:
    talk.say(f"SET bytes={form}")
    assert talk.say(f"READ club:{words}") == ("200 00000 000 ..", [])
    assert talk.say("MORE") == ("200 00000 000 ..", [])
    assert talk.say("AGAIN") == ("200 00000 000 ..", [])


@pytest.mark.parametrize("words", ["missing", "missing 5 0"])
def test_what_is_not_there_is_550_even_for_no_bytes(talk: FarTalk, words: str) -> None:
    assert talk.status(f"READ club:{words}") == "550 00001 040 .."
    assert talk.status("MORE") == "503 00001 040 .."


@pytest.mark.parametrize(
    "words",
    [
        *("", "a -1", "a 1 -1", "a x", "a 0x10", "a 1.5", "a B", "a Bx", "a B1 5", "a 1 2 3"),
        *("a 9007199254740993", "a B99999999999999", "a " + "9" * 200),
    ],
)
def test_wrong_words(talk: FarTalk, words: str) -> None:
    assert talk.status(f"READ club:{words}" if words else "READ") == "501 00001 040 .."
    assert not talk.wishes


def test_intel_hex_and_lines(talk: FarTalk) -> None:
    """The checksum rule of Intel's specification (from memory): all bytes of a record sum to 0 modulo 256."""
    talk.say("SET bytes=ihex guard=on")
    status, records = talk.say("READ club:a") or ("", [])
    assert status == "200 00009 040 .."
    for record in records:
        assert record.startswith(":")
        assert sum(bytes.fromhex(record[1:])) % 256 == 0
    assert records[-1].rstrip() == ":00000001FF"
    assert talk.records("READ club:a 0 50")[-1].rstrip() != ":00000001FF"
    assert talk.records("READ club:a 50 50")[-1].rstrip() == ":00000001FF"
    talk.say("SET bytes=line cols=16 guard=off")
    assert talk.say("READ club:text") == (
        "200 00002 016 ..",
        ["One             ", "the second line "],
    )


def test_mark_is_inside_the_width_and_guard_never_in_hex(talk: FarTalk) -> None:
    talk.say("SET mark=on guard=on")
    status, records = talk.say("READ club:a 0 19") or ("", [])
    assert (status, records) == ("200 00001 040 ..", ["!" + DOCUMENT[:19].hex().upper() + " "])


# Bare bytes


def test_raw(talk: FarTalk) -> None:
    talk.say("SET bytes=raw mark=on guard=on case=upper")
    assert talk.raw(b"READ club:a\r") == b"200 00100 001 ..\r\n" + DOCUMENT
    assert talk.raw(b"AGAIN\r") == b"200 00100 001 ..\r\n" + DOCUMENT
    assert talk.raw(b"AGAIN 66\r") == b"200 00001 001 ..\r\nA"
    assert talk.raw(b"AGAIN 101\r")[:3] == b"501"
    assert talk.raw(b"MORE\r") == b"200 00000 000 ..\r\n"
    assert talk.raw(b"AGAIN\r") == b"200 00100 001 ..\r\n" + DOCUMENT


def test_no_raw_bytes_are_repeated_under_flow_control(talk: FarTalk) -> None:
    talk.say("SET bytes=raw")
    talk.raw(b"READ club:a\r")
    talk.say("SET flow=xon")
    assert talk.raw(b"AGAIN\r")[:3] == b"503"
    assert talk.raw(b"AGAIN 2\r")[:3] == b"503"
    talk.say("SET flow=none")
    assert talk.raw(b"AGAIN\r")[:3] == b"200"


def test_no_raw_bytes_to_a_client_whose_line_has_flow_control(talk: FarTalk) -> None:
    """11h and 13h among them would be flow control (CONTRACT section 5: 503); pages are asked for anew."""
    talk.say("SET bytes=raw flow=xon")
    assert talk.raw(b"READ club:a\r")[:3] == b"503"
    talk.say("SET flow=none page=10")
    assert talk.raw(b"READ club:a\r")[:16] == b"200 00010 001 +."
    talk.say("SET flow=xon")
    assert talk.raw(b"MORE\r")[:3] == b"503"
    talk.say("SET flow=none")
    assert talk.raw(b"MORE\r") == b"200 00010 001 +.\r\n" + DOCUMENT[10:20]
    talk.say("SET bytes=hex flow=xon")
    assert talk.raw(b"READ club:a\r")[:3] == b"200"


def test_raw_pages_past_99999_bytes() -> None:
    document = random.Random(2).randbytes(250_000)
    talk = far_talk(Far({CLUB + "big": document}))
    talk.say("SET bytes=raw")
    got = b""
    for status in (b"200 99999 001 +.", b"200 99999 001 +.", b"200 50002 001 .."):
        answer = talk.raw(b"MORE\r" if got else b"READ club:big\r")
        assert answer[:18] == status + b"\r\n"
        got += answer[18:]
    assert got == document
    assert talk.raw(b"MORE\r") == b"200 00000 000 ..\r\n"
    assert len(asked(talk)) == 1


def test_seven_bits_and_telnet_in_raw(talk: FarTalk) -> None:
    """RFC 854: FFh in data is doubled, here only where the client has set telnet=on."""
    talk.far.documents[CLUB + "ff"] = b"\xff\xc1"
    talk.say("SET bytes=raw")
    assert talk.raw(b"READ club:ff\r")[18:] == b"\xff\xc1"
    talk.say("SET telnet=on")
    assert talk.raw(b"READ club:ff\r") == b"200 00002 001 ..\r\n\xff\xff\xc1"
    talk.say("SET bits=7")
    assert talk.raw(b"READ club:ff\r")[18:] == b"\x7fA"


# Pages and windows


def test_a_page_that_ends_where_a_window_ends_knows_that_more_waits() -> None:
    page, size = limits.READ_WINDOW_BYTES // 16, 2 * limits.READ_WINDOW_BYTES
    talk = far_talk(Far({CLUB + "big": bytes(size)}))
    for form in ("raw", "hex"):
        talk.say(f"SET page={page} bytes={form} cols=16")
        lines = [b"READ club:big\r"] + [b"MORE\r"] * (size // (page if form == "raw" else page * 8) - 1)
        marks = [talk.raw(line)[14:15] for line in lines]
        assert marks == [b"+"] * (len(lines) - 1) + [b"."]


@pytest.mark.parametrize("form", ["hex", "ihex", "line"])
def test_pages_give_what_the_whole_gives(talk: FarTalk, form: str) -> None:
    talk.say(f"SET bytes={form} cols=20")
    whole = talk.records("READ club:a")
    talk.say("SET page=3")
    got, line = [], "READ club:a"
    while True:
        status, records = talk.say(line) or ("", [])
        got += records
        assert talk.say("AGAIN") == (status, records)
        line = "MORE"
        if status[14] == ".":
            break
        assert len(records) == 3
    assert got == whole
    assert talk.status("MORE") == "200 00000 000 .."
    assert len(asked(talk)) == 2  # one for each READ: everything else was here


@given(
    st.binary(max_size=400),
    st.integers(0, 7),
    st.integers(0, 420),
    st.one_of(st.none(), st.integers(0, 420)),
    st.booleans(),
)
def test_pages_of_any_size_give_every_byte_once(
    document: bytes, page: int, offset: int, count: int | None, knows_size: bool
) -> None:
    far = Far({CLUB + "x": document}, knows_size=knows_size)
    talk = far_talk(far)
    talk.say(f"SET page={page} cols=16")
    words = f"{offset}" if count is None else f"{offset} {count}"
    status, records = talk.say(f"READ club:x {words}") or ("", [])
    got = "".join(records)
    while status[14] == "+":
        status, records = talk.say("MORE") or ("", [])
        assert records
        got += "".join(records)
    end = None if count is None else offset + count
    assert bytes.fromhex(got) == document[offset:end]


def test_paging_through_a_large_document_is_few_far_requests() -> None:
    size = 5 << 20
    talk = far_talk(Far({CLUB + "big": bytes(size)}))
    talk.say("SET page=24 bytes=hex cols=255")
    line, got, pages = "READ club:big", 0, 0
    while True:
        answer = talk.raw(line.encode() + b"\r")
        got += answer.count(b"0", 18) // 2
        pages, line = pages + 1, "MORE"
        cursor = talk.session._state.cursor
        assert len(cursor._window.here) <= limits.READ_WINDOW_BYTES + 25 * 127  # type: ignore[union-attr]
        if answer[14:15] == b".":
            break
    assert got == size
    assert pages > 1_000
    requests = asked(talk)
    assert len(requests) <= size // limits.READ_WINDOW_BYTES + 1
    assert all(count <= limits.READ_WINDOW_BYTES for _, count in requests)


def test_a_page_that_is_larger_than_a_window_asks_for_what_it_needs() -> None:
    talk = far_talk(Far({CLUB + "big": bytes(3 << 20)}))
    status = talk.status("READ club:big")
    assert status == "200 99999 040 +."
    assert asked(talk) == [(0, 100_000 * 20)]


def test_many_short_lines_are_laid_out_a_page_at_a_time() -> None:
    """A document of empty lines has a record a byte: no more than a page and a chunk of them is kept."""
    talk = far_talk(Far({CLUB + "lines": b"\n" * 1_000_000}))
    talk.say("SET bytes=line")
    assert talk.raw(b"READ club:lines\r")[:16] == b"200 99999 040 +."
    cursor = talk.session._state.cursor
    assert len(cursor._ready) <= limits.CHUNK_BYTES  # type: ignore[union-attr]


def test_later_windows_are_of_the_same_document() -> None:
    talk = far_talk(Far({CLUB + "big": bytes(3 << 20)}))
    talk.say("SET page=10 bytes=raw")
    talk.raw(b"READ club:big\r")
    talk.say("SET page=99999")
    for _ in range(10):
        assert talk.raw(b"MORE\r")[:16] == b"200 99999 001 +."
    talk.far.versions[CLUB + "big"] = 1
    assert talk.raw(b"MORE\r")[:3] == b"555"
    assert talk.raw(b"MORE\r")[:3] == b"555"


def test_a_fault_of_more_can_be_tried_again() -> None:
    document = random.Random(3).randbytes(2 << 20)
    talk = far_talk(Far({CLUB + "big": document}))
    talk.say("SET bytes=raw")
    got = b""
    line = b"READ club:big\r"
    while len(got) < len(document):
        talk.far.fault = lambda wish: BrokenOff() if isinstance(wish, ReadWish) and wish.offset else None
        answer = talk.raw(line)
        if answer[:3] == b"426":
            talk.far.fault = lambda _: None
            answer = talk.raw(line)
        got += answer[18:]
        line = b"MORE\r"
    assert got == document


def test_a_first_page_that_fails_leaves_no_cursor(talk: FarTalk) -> None:
    talk.far.fault = lambda _: TooSlow()
    assert talk.status("READ club:a")[:3] == "420"
    assert talk.status("MORE")[:3] == "503"
    assert talk.status("AGAIN")[:3] == "503"


def test_much_is_laid_out_beside_the_others_and_little_at_once() -> None:
    document = random.Random(4).randbytes(300_000)
    talk = far_talk(Far({CLUB + "big": document}))
    talk.say("SET page=24 bytes=ihex")
    talk.say("READ club:big")
    assert not any(isinstance(wish, WorkWish) for wish in talk.wishes)
    talk.say("SET page=0")
    data = [record.rstrip() for record in talk.records("READ club:big") if record[7:9] == "00"]
    assert bytes.fromhex("".join(record[9:-2] for record in data)) == document
    sizes = [wish.size for wish in talk.wishes if isinstance(wish, WorkWish)]
    assert len(sizes) >= 4
    assert max(sizes) <= limits.CHUNK_BYTES


def test_a_page_given_up_half_way_is_not_gone_on_with() -> None:
    """What lays it out may still be at work, so that bytes would be lost or shown twice."""
    talk = far_talk(Far({CLUB + "big": bytes(300_000)}))
    talk.say("SET page=24 bytes=ihex")
    talk.say("READ club:big")
    talk.say("SET page=0")
    talk.session.reader.feed(b"MORE\r")
    line = talk.session.reader.next_event()
    assert isinstance(line, Line)
    steps = talk.session.respond(line)
    assert isinstance(next(steps), WorkWish)
    steps.close()
    assert talk.status("MORE")[:3] == "503"
    assert talk.status("AGAIN") == "200 00024 040 +."
    talk.say("SET page=24")
    assert talk.status("READ club:big") == "200 00024 040 +."


def test_hex_is_made_while_it_is_sent_and_only_its_bytes_are_kept() -> None:
    """Common practice: each of 99,999 strings of 255 characters would take 300 bytes beside 127 of data."""
    talk = far_talk(Far({CLUB + "big": bytes(20 << 20)}))
    talk.say("SET cols=255")
    tracemalloc.start()
    try:
        talk.session.reader.feed(b"READ club:big\r")
        line = talk.session.reader.next_event()
        assert isinstance(line, Line)
        reply = talk._run(line)
        assert reply is not None
        assert next(reply) == b"200 99999 255 +.\r\n"
        assert next(reply) == b"0" * 254 + b" \r\n"
        page = 99_999 * 127
        assert tracemalloc.get_traced_memory()[0] < page + limits.READ_WINDOW_BYTES
    finally:
        tracemalloc.stop()
    assert not any(isinstance(wish, WorkWish) for wish in talk.wishes)


@pytest.mark.parametrize(
    ("form", "document"), [("ihex", bytes(3 << 20)), ("line", b"A line of text\n" * 200_000)]
)
def test_a_page_that_nobody_reads_is_kept_without_its_blanks(form: str, document: bytes) -> None:
    talk = far_talk(Far({CLUB + "big": document}))
    talk.say(f"SET cols=255 bytes={form}")
    tracemalloc.start()
    try:
        talk.session.reader.feed(b"READ club:big\r")
        line = talk.session.reader.next_event()
        assert isinstance(line, Line)
        reply = talk._run(line)
        assert reply is not None
        assert next(reply) == b"200 99999 255 +.\r\n"
        assert tracemalloc.get_traced_memory()[0] < 8 << 20  # as strings of full width: 31 MB
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("form", ["ihex", "line"])
def test_a_page_of_much_text_ends_early_and_the_next_one_goes_on(
    form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    document = b"".join(b"Line %d of many\n" % number for number in range(3_000))
    talk = far_talk(Far({CLUB + "big": document}))
    talk.say(f"SET bytes={form}")
    whole = talk.records("READ club:big")
    monkeypatch.setattr(limits, "READ_PAGE_BYTES", 4_000)
    got, line = [], "READ club:big"
    while True:
        status, records = talk.say(line) or ("", [])
        assert records
        assert sum(len(record.rstrip()) for record in records) <= 4_000
        assert talk.say("AGAIN") == (status, records)
        assert talk.say(f"AGAIN {len(records)}") == (status[:4] + "00001" + status[9:], records[-1:])
        got += records
        line = "MORE"
        if status[14] == ".":
            break
    assert got == whole
    assert talk.status("MORE") == "200 00000 000 .."


def test_settings_of_the_moment(talk: FarTalk) -> None:
    """The form is READ's; the page's size, mark and capitals are those of the moment it is asked for."""
    talk.say("SET page=1 cols=20")
    talk.say("READ club:a")
    talk.say("SET bytes=raw mark=on cols=40")
    assert talk.say("MORE") == ("200 00001 021 +.", ["!" + DOCUMENT[10:20].hex().upper()])
    talk.say("SET most=20 cols=20")
    assert talk.status("MORE")[:3] == "552"


def test_why(talk: FarTalk) -> None:
    talk.say("SET cols=80 page=1")
    for line in ("READ club:a", "MORE"):
        talk.say(line)
        told = [record.rstrip() for record in talk.records("WHY")]
        assert told[0] == f"REQUEST  {line}"
        assert "FROM     ftp://far.example:21, fetched" in told
        assert "TOOK     list 12.0 ms" in told
    talk.say("READ club:a")
    assert "SIZE     100 bytes in all" in [record.rstrip() for record in talk.records("WHY")]
