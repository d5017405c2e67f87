"""Whole conversations in other charsets: requests, data lines, checks, echo, and what SET shows."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.model import Catalogue
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.wire.charsets import encode_text, find_charset, table_charset
from gateway.wire.checks import digits
from gateway.wire.settings import Settings
from gateway.wire.tables.charset import ASCII, UNDEFINED
from gateway.wire.tables.installed import installed_names
from tests.gateway.session.conftest import SOURCES, Talk, granted
from tests.gateway.session.files.far import CLUB, Far, far_talk

PATH = "tables/kiosk 7.txt"
KIOSK = table_charset("kiosk", "".join(UNDEFINED if "a" <= each <= "z" else each for each in ASCII))
TABLES = {f"file:{PATH}": KIOSK, "table:kiosk": KIOSK}
CHARSETS = [*installed_names(), "caseswap"]


def talk_in(charset: str, **settings: object) -> Talk:
    """A connection whose profile has that charset."""
    profiles = {"PLAIN": replace(Settings(), charset=charset, **settings)}  # type: ignore[arg-type]
    catalogue = Catalogue(
        sources=MappingProxyType(SOURCES),
        profiles=MappingProxyType(profiles),
        tables=MappingProxyType(TABLES),
    )
    world = World(lambda: catalogue, lambda: datetime(2026, 3, 29, 0, 59, 58, tzinfo=UTC))
    return Talk(Session(world, "PLAIN"), granted)


def said(talk: Talk, line: str, codec: str) -> list[str]:
    """One request and its reply's lines, as a client with Python's codec has them."""
    answer = talk.raw(line.encode(codec) + b"\r")
    assert answer.endswith(b"\r\n")
    return [each.decode(codec) for each in answer[:-2].split(b"\r\n")]


@pytest.mark.parametrize("charset", installed_names())
def test_the_same_conversation_in_every_charset(charset: str) -> None:
    talk = talk_in(charset)
    status, *records = said(talk, "ASK tides", charset)
    assert status == "200 00003 018 .*"
    assert records[0] == "04:12 Quay    3.90"
    status, record = said(talk, "PING", charset)
    assert status == "500 00001 040 .."
    assert record == "Not a request; HELP lists them".ljust(40)
    assert said(talk, "? NOOP 'a b'", charset)[1] == "a b".ljust(40)
    if charset not in {"mac-arabic", "mac-farsi", "cp864"}:
        assert said(talk, "SET", charset)[5] == f"CHARSET  {charset}".ljust(40)


@pytest.mark.parametrize("charset", CHARSETS)
def test_no_line_of_a_reply_holds_a_control_byte(charset: str) -> None:
    @given(st.text(max_size=40))
    def check(text: str) -> None:
        talk = talk_in(charset, telnet="off")  # else FFh could begin a command (RFC 854)
        quoted = encode_text("NOOP '" + text.replace("'", " ") + "'", charset)
        status, *records = talk.raw(quoted + b"\r").removesuffix(b"\r\n").split(b"\r\n")
        assert len(status) == 16
        for record in records:
            assert len(record) == 40
            assert all(byte >= 0x20 and byte != 0x7F for byte in record)

    check()


@pytest.mark.parametrize("charset", CHARSETS)
def test_every_character_of_a_charset_survives_request_and_reply(charset: str) -> None:
    known = find_charset(charset)
    talk = talk_in(charset)
    for point, byte in known.sent.items():
        if chr(point) not in "' \"":
            answer = talk.raw(
                encode_text("NOOP '", charset) + bytes((byte,)) + encode_text("'", charset) + b"\r"
            )
            assert answer.split(b"\r\n")[1] == bytes((byte,)) + encode_text(" " * 39, charset)


@pytest.mark.parametrize("charset", ["cp037", "caseswap", "cp1258"])
@given(cuts=st.lists(st.integers(0, 60), max_size=8))
def test_the_way_the_bytes_were_cut_never_matters(charset: str, cuts: list[int]) -> None:
    typed = "? NOOP 'Ab c'\rTIMEX\b UTC\n>data\rNOOP %\r"
    data = b"".join(bytes((ord(each),)) if each < " " else encode_text(each, charset) for each in typed)
    pieces = [data[start:end] for start, end in pairwise([0, *sorted(cuts), len(data)])]
    one, other = talk_in(charset), talk_in(charset)
    assert b"".join(map(one.raw, pieces)) == other.raw(data)


def test_case_swap() -> None:
    """41h-5Ah are small letters there: the bytes of `ASK` are what a client types as `ask`."""
    talk = talk_in("caseswap")
    assert talk.raw(b"ASK tides\r").startswith(
        b"200 00003 018 .*\r\n04:12 qUAY    3.90\r\n10:27 mOLE: a 1,25"
    )
    assert talk.raw(b"noop Xy\r").split(b"\r\n")[1] == b"Xy".ljust(40)
    assert talk.raw(b"noop X\x9b\r")[:3] == b"500"  # no line's end, and no character
    assert talk.raw(b"set BITS=7\r") == b"200 00000 000 ..\r\n"
    assert talk.raw(b"noop X\xf9\r").split(b"\r\n")[1] == b"Xy".ljust(40)


def test_ebcdic_line_ends_and_rubbing_out_are_the_lines_own() -> None:
    talk = talk_in("cp037")
    assert talk.raw("NOOP abx".encode("cp037") + b"\bc\r\n")[18:20] == "ab".encode("cp037")
    assert talk.raw("NOOP abx".encode("cp037") + b"\x7f\n")[18:21] == "ab ".encode("cp037")
    assert talk.raw("NOOP ab".encode("cp037") + b"\x18") == b""
    assert talk.raw(b"\x25\r").split(b"\r\n")[0].decode("cp037") == "500 00001 040 .."
    assert talk.raw("NOOP it's".encode("cp037") + b"\r").split(b"\r\n")[1].decode("cp037")[:4] == "it's"


@pytest.mark.parametrize(("charset", "codec"), [("cp037", "cp037"), ("caseswap", ""), ("koi8-r", "koi8-r")])
def test_checks_are_of_the_bytes_on_the_line(charset: str, codec: str) -> None:
    def bytes_of(text: str) -> bytes:
        return text.encode(codec) if codec else text.swapcase().encode()

    talk = talk_in(charset, check="crc")
    line = bytes_of("NOOP Quay")
    answer = talk.raw(line + bytes_of(" *" + digits(line, "crc")) + b"\r")
    for each in answer[:-2].split(b"\r\n"):
        assert each[-4:] == bytes_of(digits(each[:-4], "crc"))
    assert answer.startswith(bytes_of("200 00001 044 .."))
    wrong = talk.raw(line + bytes_of(" *0000") + b"\r")
    assert wrong.startswith(bytes_of("500 "))
    unchecked = talk.raw(line + b"\r")
    assert unchecked.startswith(bytes_of("500 "))


@pytest.mark.parametrize("codec", ["cp037", "koi8-r", "cp1252"])
def test_data_lines_are_text_and_raw_bytes_stay_raw(codec: str) -> None:
    talk = far_talk(Far({CLUB + "a.txt": b""}))
    assert talk.raw(f"SET charset={codec}\r".encode()) == "200 00000 000 ..".encode(codec) + b"\r\n"
    lines = b"\r".join(each.encode(codec) for each in ("STORE club:a.txt", ">Ab", "? >c", ">.", "."))
    assert talk.raw(lines + b"\r").decode(codec, "replace").startswith("350")
    assert talk.url("a.txt") == b"Ab\nc\n.\n"
    raw = bytes(range(256))
    talk.raw("STORE club:a.txt 256".encode(codec) + b"\r")
    assert talk.raw(raw).startswith("250".encode(codec))
    assert talk.url("a.txt") == raw


def test_a_byte_that_is_no_character_spoils_a_transfer() -> None:
    talk = far_talk(Far({CLUB + "a.txt": b"old"}))
    talk.raw(b"SET charset=caseswap\rstore CLUB:A.TXT\r>caf\xe9\r")
    assert b"bYTE e9 HEX IS NOT IN THE CHARSET" in talk.raw(b".\r")
    assert talk.url("a.txt") == b"old"


def test_a_long_data_line_comes_in_pieces_of_text() -> None:
    talk = far_talk(Far({CLUB + "a.txt": b""}))
    talk.raw(b"SET charset=cp500\r" + "STORE club:a.txt".encode("cp500") + b"\r")
    text = "Straße und Fluß, " * 20_000
    talk.raw((">" + text).encode("cp500") + b"\r" + ".".encode("cp500") + b"\r")
    assert talk.url("a.txt") == text.encode() + b"\n"


@pytest.mark.parametrize("charset", ["cp037", "caseswap", "koi8-r"])
def test_echo_is_what_was_typed_but_no_secret(charset: str) -> None:
    talk = talk_in(charset, echo=True)
    typed = encode_text("LOGIN ann hunter2", charset)
    talk.raw(typed + b"\x01\r")
    assert talk.session.reader.take_output() == encode_text("LOGIN ann ", charset) + b"\r\n"


def test_echo_of_code_page_437_has_its_letters_from_80h_on() -> None:
    talk = talk_in("cp437", echo=True)
    talk.raw(b"NOOP \x80\x9b\xff\r")
    assert talk.session.reader.take_output() == b"NOOP \x80\x9b\xff\r\n"


def test_a_table_file_is_taken_by_its_text_or_by_its_profile() -> None:
    talk = talk_in("ascii")
    for word in (f'SET "charset=file:{PATH}"', "SET CHARSET=TABLE:KIOSK"):
        assert talk.raw(b"SET KIOSK\r")[:3] == b"550"
        assert talk.raw(word.encode() + b"\r") == b"200 00000 000 ..\r\n"
        assert talk.raw(b"NOOP TIDES\r").split(b"\r\n")[1] == b"TIDES".ljust(40)
        assert talk.raw(b"PING\r").split(b"\r\n")[1] == b"NOT A REQUEST; HELP LISTS THEM".ljust(40)
        assert talk.raw(b"NOOP a\r")[:3] == b"500"
        shown = talk.raw(b"SET\r")
        assert b"CHARSET  TABLE:KIOSK" in shown
        assert PATH.upper().encode() not in shown
        assert talk.raw(b"SET PLAIN\r")[:3] == b"200"


@pytest.mark.parametrize(
    "word", ["file:/etc/hostname", "file:tables/kiosk", f"file:./{PATH}", "table:other", "FILE:", "file:"]
)
def test_no_other_file_is_looked_for(word: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def opened(*_: object, **__: object) -> None:
        pytest.fail("a file was opened")

    talk = talk_in("ascii")
    monkeypatch.setattr("builtins.open", opened)
    monkeypatch.setattr("io.open", opened)
    status, record = talk.raw(f'SET "charset={word}"\r'.encode()).decode().split("\r\n")[:2]
    assert status == "501 00001 040 .."
    assert record.rstrip() == "No such charset; see HELP CHARSET"


def test_a_charset_that_cannot_be_used_is_said_shortly() -> None:
    talk = talk_in("ascii")
    for word in ("shift_jis", "utf-8", "rot13"):
        assert talk.records(f"SET charset={word}") == ["Not a charset of one byte a character".ljust(40)]
    assert talk.records("SET charset=cp037 bits=7") == ["This charset needs bits 8".ljust(40)]
    assert talk.records("SET charset=koi8-r eol=9b")[0].startswith("eol 9b: 9Bh is a letter in this charset")


def test_what_follows_a_change_is_in_the_new_charset_at_once() -> None:
    talk = talk_in("ascii")
    answer = talk.raw(b"SET charset=cp037\r" + "NOOP a".encode("cp037") + b"\r")
    assert answer.decode("cp037").startswith("200 00000 000 ..\r\x8e200 00001 040 ..\r\x8ea  ")


def test_capitals_and_guard_in_other_charsets() -> None:
    talk = talk_in("koi8-r", case="upper", guard=True, mark=True)
    assert said(talk, "NOOP 'a:б,\"'", "koi8-r")[1] == "!A.Б;'".ljust(40)
    talk = talk_in("cp037", case="upper", guard=True, mark=True)
    assert said(talk, "NOOP 'a:é,'", "cp037")[1] == "!A.É;".ljust(40)
