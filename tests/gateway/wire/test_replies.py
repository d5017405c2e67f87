"""The one reply shape (CONTRACT section 2)."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import AskedTooOften, FarBusy, HeadraceError, NotThere
from gateway.wire.charsets import find_charset, has, table_charset
from gateway.wire.lines import EOLS
from gateway.wire.replies import Reply, encode_lines, error_reply, finish, upper
from gateway.wire.settings import Settings
from gateway.wire.tables.charset import ASCII, UNDEFINED
from tests.adapters.test_errors import every_error

PLAIN = Settings()
STATUS = re.compile(rb"[0-9]{3} [0-9]{5} [0-9]{3} [+.][*SLC.]")


def sent(reply: Reply, end: bytes = b"", escape_iac: bool = False) -> list[bytes]:
    return list(encode_lines(reply, end, escape_iac))


def test_the_contracts_own_status_line() -> None:
    assert Reply(200, PLAIN, ("x" * 28,) * 3, 28).status_line == "200 00003 028 .."


def test_no_records_have_no_width() -> None:
    assert Reply(200, PLAIN, (), 28).status_line == "200 00000 000 .."


@pytest.mark.parametrize("cols", [16, 40, 255])
@pytest.mark.parametrize("mark", [False, True])
def test_an_error_reply_is_one_record_of_the_profiles_columns(cols: int, mark: bool) -> None:
    reply = error_reply(NotThere("No source TIDE; TIDES?"), replace(PLAIN, cols=cols, mark=mark))
    assert reply.status_line == f"550 00001 {cols:03d} .."
    record = sent(reply)[1]
    assert len(record) == cols
    assert record.startswith(b"!No" if mark else b"No")


@pytest.mark.parametrize("error", [AskedTooOften(seconds=120), FarBusy(seconds=120)])
@pytest.mark.parametrize("cols", [16, 40])
def test_a_known_wait_ends_the_record(error: HeadraceError, cols: int) -> None:
    record = sent(error_reply(error, replace(PLAIN, cols=cols)))[1]
    assert record.endswith(b" 120")
    assert record.startswith(error.sentence[: cols - 4].encode())
    assert len(record) == cols


def test_records_are_finished_by_their_own_settings() -> None:
    upper_mark = replace(PLAIN, case="upper", mark=True, guard=True)
    assert sent(Reply(200, upper_mark, ("a,b",), 3)) == [b"200 00001 004 ..", b"!A;B"]


def test_exact_records_keep_their_letters() -> None:
    """A ref with a colon or in small letters would be another one."""
    settings = replace(PLAIN, case="upper", mark=True, guard=True)
    assert finish('Club:a,"b"', settings, exact=True) == '!Club:a,"b"'
    assert sent(Reply(200, settings, ("club:x",), 6, exact=True))[1] == b"!club:x"
    assert sent(Reply(200, replace(settings, charset="latin1"), ("club:x",), 6, exact=True))[1] == b"!club:x"


def test_guard_keeps_input_statements_in_step_and_mark_leads() -> None:
    assert finish('12:30, "Quay"', replace(PLAIN, guard=True, mark=True)) == "!12.30; 'Quay'"


def test_capitals_never_change_a_width() -> None:
    assert upper("straße ÿ é", "latin1") == "STRAßE ÿ É"


@given(st.text(max_size=30), st.sampled_from(["ascii", "latin1", "cp437", "koi8-r", "caseswap"]))
def test_upper_is_one_for_one_and_stays_in_the_charset(text: str, charset: str) -> None:
    inside = "".join(each for each in text if find_charset(charset).has(each))
    assert len(upper(inside, charset)) == len(inside)
    assert all(has(each, charset) for each in upper(inside, charset))


@pytest.mark.parametrize(("name", "end"), EOLS.items())
def test_line_ends(name: str, end: bytes) -> None:
    assert sent(Reply(200, PLAIN, ("ab",), 2), end) == [b"200 00001 002 .." + end, b"ab" + end]


def test_ff_is_doubled_for_a_client_that_speaks_telnet() -> None:
    latin = replace(PLAIN, charset="latin1")
    assert sent(Reply(200, latin, ("aÿ",), 2), escape_iac=True)[1] == b"a\xff\xff"
    assert sent(Reply(200, latin, ("aÿ",), 2))[1] == b"a\xff"


def test_ff_is_doubled_in_a_status_line_too() -> None:
    """A mapping file may have a digit at FFh (RFC 854: FFh as data is sent twice)."""
    odd = replace(PLAIN, charset=table_charset("odd", ASCII.replace("0", UNDEFINED)[:-1] + "0"), check="sum")
    plain = b"200 00000 000 ..CE".replace(b"0", b"\xff")
    check = b"%02X" % (sum(plain[:16]) % 256)
    assert "0" not in check.decode()
    assert sent(Reply(200, odd)) == [plain[:16] + check]
    assert sent(Reply(200, odd), escape_iac=True) == [plain[:16].replace(b"\xff", b"\xff\xff") + check]


def test_bare_bytes_follow_the_status_line_without_ends() -> None:
    """CONTRACT section 5, `bytes`: width 001, count = bytes, no line ends; no mark, guard or capitals."""
    marked = replace(PLAIN, mark=True, guard=True, case="upper")
    reply = Reply(200, marked, width=1, raw=b'a,b:"c"\r\n')
    assert b"".join(sent(reply, b"\r\n")) == b'200 00009 001 ..\r\na,b:"c"\r\n'
    assert sent(Reply(200, PLAIN, width=1, raw=b""), b"\r\n") == [b"200 00000 000 ..\r\n"]


def test_ff_in_bare_bytes_is_doubled_only_where_telnet_is_on() -> None:
    for telnet, shown in (("on", b"\xff\xff"), ("auto", b"\xff"), ("off", b"\xff")):
        reply = Reply(200, replace(PLAIN, telnet=telnet), width=1, raw=b"\xff")
        assert sent(reply, escape_iac=True)[1] == shown
        assert reply.status_line == "200 00001 001 .."


def test_seven_bits_hold_for_bare_bytes() -> None:
    seven = replace(PLAIN, bits=7, telnet="on")
    assert sent(Reply(200, seven, width=1, raw=b"\xc1\xff"))[1] == b"A\x7f"


@given(st.binary(max_size=30_000))
def test_bare_bytes_come_in_slices(data: bytes) -> None:
    slices = sent(Reply(200, PLAIN, width=1, raw=data))[1:]
    assert b"".join(slices) == data
    assert all(len(each) <= 8_192 for each in slices)


def test_guard_never_touches_exact_records() -> None:
    """CONTRACT section 5, `guard`: never in hex or ihex, whose records begin with a colon."""
    marked = replace(PLAIN, guard=True, mark=True, charset="latin1")
    for settings in (marked, replace(marked, charset="ascii")):
        assert sent(Reply(200, settings, (":00",), 3, exact=True))[1] == b"!:00"


@given(
    st.sampled_from(every_error()), st.text(max_size=80), st.integers(16, 255), st.booleans(), st.booleans()
)
def test_no_sentence_can_break_the_shape(
    kind: type[HeadraceError], sentence: str, cols: int, mark: bool, guard: bool
) -> None:
    reply = error_reply(kind(sentence), replace(PLAIN, cols=cols, mark=mark, guard=guard))
    status, record = sent(reply)
    assert STATUS.fullmatch(status)
    assert len(record) == cols
    assert all(0x20 <= byte <= 0x7E for byte in record)


@given(
    st.lists(st.text("ab,:", min_size=3, max_size=3), max_size=8),
    st.integers(0, 10),
    st.none() | st.integers(0, 10),
    st.sampled_from(["none", "sum", "crc"]),
    st.booleans(),
)
def test_some_lines_are_a_slice_of_all(
    records: list[str], start: int, stop: int | None, check: str, mark: bool
) -> None:
    reply = Reply(200, replace(PLAIN, check=check, mark=mark), records, 3)
    whole = sent(reply, b"\r\n")
    assert list(encode_lines(reply, b"\r\n", False, start, stop)) == whole[start:stop]


def test_each_line_ends_in_its_check() -> None:
    """CRC-16/XMODEM of "123456789" is 31C3h, by its published check value."""
    reply = Reply(200, replace(PLAIN, check="crc"), ("123456789",), 9)
    status, record = sent(reply)
    assert record == b"12345678931C3"
    assert status[:16] == b"200 00001 013 .."
    assert len(status) == 20


def test_the_check_comes_before_telnet_doubles_anything() -> None:
    """FFh is 255: the sum of a line of it alone, however many bytes telnet makes of it (RFC 854)."""
    reply = Reply(200, replace(PLAIN, check="sum", charset="latin1"), ("ÿ",), 1)
    assert sent(reply, escape_iac=True)[1] == b"\xff\xffFF"
