"""Whole conversations against V.250, from memory: commands and answers, byte for byte."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters import limits
from gateway.modem.calls import State
from gateway.modem.effects import Carrier, Dial, HangUp, Refuse, Show
from gateway.modem.parameters import PARAMETERS, Parameters, value_of
from gateway.modem.results import Failure
from tests.gateway.modem.desk import Desk

# Typed, and what is shown, with echo
ANSWERS = [
    (b"AT\r", b"AT\r\r\nOK\r\n"),
    (b"at\r", b"at\r\r\nOK\r\n"),
    (b"ATE0\r", b"ATE0\r\r\nOK\r\n"),
    (b"ATE0\rAT\r", b"ATE0\r\r\nOK\r\n\r\nOK\r\n"),
    (b"ATE0\rATE1\rAT\r", b"ATE0\r\r\nOK\r\n\r\nOK\r\nAT\r\r\nOK\r\n"),
    (b"ATK\r", b"ATK\r\r\nERROR\r\n"),
    (b"hello\r", b"hello\r"),
    (b"\r", b"\r"),
    # V and Q hold for the result of their own line (sections 6.2.5 and 6.2.6)
    (b"ATE0V0\r", b"ATE0V0\r0\r"),
    (b"ATV0\rATK\r", b"ATV0\r0\rATK\r4\r"),
    (b"ATV0\rATV1\r", b"ATV0\r0\rATV1\r\r\nOK\r\n"),
    (b"ATQ1\rAT\r", b"ATQ1\rAT\r"),
    (b"ATQ1\rATQ0\r", b"ATQ1\rATQ0\r\r\nOK\r\n"),
    (b"ATQ2\r", b"ATQ2\r\r\nERROR\r\n"),
    (b"ATQ1\rATQ2\r", b"ATQ1\rATQ2\r"),
    (b"ATV0\rATV2\r", b"ATV0\r0\rATV2\r4\r"),
    # Section 6.2.1's example: the line ends with the old character, its result has the new one
    (b"ATS3=30\r", b"ATS3=30\r\x1e\nOK\x1e\n"),
    (b"ATS3=30\rAT\x1e", b"ATS3=30\r\x1e\nOK\x1e\nAT\x1e\x1e\nOK\x1e\n"),
    (b"ATS4=46\r", b"ATS4=46\r\r.OK\r."),
    (b"ATS5=36\rATKX$$\r", b"ATS5=36\r\r\nOK\r\nATKX$ $$ $\r\r\nOK\r\n"),
    # S-parameters have three digits (section 5.3.2)
    (b"ATS0?\r", b"ATS0?\r\r\n000\r\n\r\nOK\r\n"),
    (b"ATS3?S4?S5?\r", b"ATS3?S4?S5?\r\r\n013\r\n\r\n010\r\n\r\n008\r\n\r\nOK\r\n"),
    (b"ATV0S8?\r", b"ATV0S8?\r002\r\n0\r"),
    (b"ATQ1S8?\r", b"ATQ1S8?\r\r\n002\r\n"),
    (b"ATS1?\r", b"ATS1?\r\r\nERROR\r\n"),
    (b"ATS0=256\r", b"ATS0=256\r\r\nERROR\r\n"),
    # What stands before a mistake is done, what stands behind it is not (section 5.3)
    (b"ATE0KE1\rAT\r", b"ATE0KE1\r\r\nERROR\r\n\r\nOK\r\n"),
    (b"ATI\r", b"ATI\r\r\nheadrace 1.2\r\n\r\nOK\r\n"),
    (b"AT+GMI;+GMR\r", b"AT+GMI;+GMR\r\r\nheadrace\r\n\r\n1.2\r\n\r\nOK\r\n"),
    (b"AT+IPR?\r", b"AT+IPR?\r\r\n+IPR: 9600\r\n\r\nOK\r\n"),
    (b"AT+MS?\r", b"AT+MS?\r\r\nERROR\r\n"),
    (b"ATT\r", b"ATT\r\r\nOK\r\n"),
    (b"ATL3M0P\r", b"ATL3M0P\r\r\nOK\r\n"),
    (b"ATL4\r", b"ATL4\r\r\nERROR\r\n"),
    (b"ATZE0\rAT\r", b"ATZE0\r\r\nOK\r\nAT\r\r\nOK\r\n"),  # Z ends its line (section 6.1.1)
    (b"\xc1\xd4\x8d", b"AT\r\r\nOK\r\n"),  # bit 7 is ignored (section 5.1)
    # A/ (section 5.2.4): nothing ends it; before any line it repeats an empty one
    (b"A/", b"A/\r\nOK\r\n"),
    (b"ATS8?\rA/a/", b"ATS8?\r\r\n002\r\n\r\nOK\r\nA/\r\n002\r\n\r\nOK\r\na/\r\n002\r\n\r\nOK\r\n"),
    (b"ATK\rA/", b"ATK\r\r\nERROR\r\nA/\r\nERROR\r\n"),
]


@pytest.mark.parametrize(("data", "shown"), ANSWERS)
def test_answers_whole_and_byte_by_byte(data: bytes, shown: bytes) -> None:
    assert Desk(echo=1).type(data).shown() == shown
    assert Desk(echo=1).type(*(bytes((byte,)) for byte in data)).shown() == shown


def test_a_line_that_is_too_long() -> None:
    desk = Desk().type(b"AT" + b"E0" * (limits.MODEM_LINE_CHARACTERS // 2 + 1) + b"\r")
    assert desk.shown() == b"\r\nERROR\r\n"
    assert desk.type(b"A/").shown() == b"\r\nERROR\r\n"


def test_numbers_of_the_results() -> None:
    """All eight, in V0: 0 to 4 and 6 to 8."""
    desk = Desk().type(b"ATV0\r").rang().type(b"ATK\rATA\r").connected().lost().wait(2)
    assert desk.shown() == b"0\r2\r4\r1\r3\r"
    for failure, dialled, number in (
        (Failure.NO_LINE, b"harbour", b"6\r"),
        (Failure.BUSY, b"harbour", b"7\r"),
        (Failure.SILENT, b"harbour@", b"8\r"),
    ):
        assert desk.type(b"ATD" + dialled + b"\r").failed(failure).shown() == number


def test_a_repeated_line_dials_again() -> None:
    desk = Desk().type(b"ATDTHarbour\r").failed()
    assert desk.done() == [Dial("Harbour"), Show(b"\r\nNO CARRIER\r\n")]
    assert desk.type(b"A/").done() == [Dial("Harbour")]
    assert desk.type(b"\n").done() == []  # the same 125 ms as after a line's end


def test_z_hangs_up_and_sets_what_was_at_first() -> None:
    at_first = Parameters(echo=0, answer_rings=3)
    desk = Desk(parameters=at_first).paused().type(b"ATS0=0S7=9X1Z\r")
    assert desk.done() == [HangUp(), Carrier(False), Show(b"\r\nOK\r\n")]
    assert desk.modem.parameters == at_first
    assert desk.doing() is State.COMMAND


def test_z_leaves_who_calls_waiting() -> None:
    desk = Desk().rang().type(b"ATZ\r")
    assert Refuse() not in desk.done()
    assert desk.doing() is State.RINGING


def test_the_factory_settings_leave_the_call() -> None:
    desk = Desk(parameters=Parameters(echo=0, answer_rings=3)).paused().type(b"AT&F\r")
    assert desk.done() == [Show(b"\r\nOK\r\n")]
    assert desk.modem.parameters == Parameters()
    assert desk.doing() is State.ONLINE_COMMAND


def test_a_line_half_typed_lives_through_a_ring() -> None:
    assert Desk().type(b"ATS").rang().type(b"8?\r").shown() == b"\r\nRING\r\n\r\n002\r\n\r\nOK\r\n"


def test_a_line_half_typed_goes_with_its_terminal() -> None:
    assert Desk().type(b"ATS").dtr(False).dtr(True).type(b"8?\r").shown() == b""


@given(st.sampled_from(sorted(name for name in PARAMETERS if name.startswith("S"))), st.integers(0, 300))
def test_what_is_set_is_shown(name: str, value: int) -> None:
    desk = Desk()
    before = desk.modem.parameters
    desk.type(f"AT{name}={value}\r".encode())
    parameter = PARAMETERS[name]
    if not parameter.lowest <= value <= parameter.highest:
        assert desk.modem.parameters == before
        return
    assert value_of(desk.modem.parameters, name) == value
    if name not in {"S3", "S4", "S5"}:
        desk.done()
        assert desk.type(f"AT{name}?\r".encode()).shown() == f"\r\n{value:03}\r\n\r\nOK\r\n".encode()


@pytest.mark.parametrize("name", ["S3", "S4", "S5"])
def test_the_line_s_own_characters_are_shown_too(name: str) -> None:
    for value in range(128):
        desk = Desk().type(f"AT{name}={value}\r".encode())
        desk.done()
        end, feed = desk.modem.parameters.end, desk.modem.parameters.feed
        body = f"{name}?".encode()
        typed = b"at" + body
        if {value} & set(typed) and name != "S4":
            continue  # cannot be typed any more
        line_end = bytes((end, feed))
        expected = line_end + f"{value:03}".encode() + line_end + line_end + b"OK" + line_end
        assert desk.type(typed + bytes((end,))).shown() == expected


@given(st.text(st.sampled_from("EQVXLMIHS0123=?+&CDGMI; "), max_size=30))
def test_a_repeated_line_is_the_same_line(body: str) -> None:
    """Both for a modem that has run it once: what a line does to itself counts."""
    once, twice = Desk(), Desk()
    line = f"AT{body}\r".encode()
    once.type(line)
    if once.modem.parameters.end != 13 or once.modem.parameters.rubout != 8 or once.modem.parameters.echo:
        return
    once.done()
    twice.type(line).done()
    if once.doing() is State.COMMAND:
        assert once.type(b"A/").done() == twice.type(line).done()
        assert once.modem.parameters == twice.modem.parameters
