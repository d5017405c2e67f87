"""Calls against V.250 sections 5.6, 6.2.7 to 6.2.9 and 6.3, from memory, and what DEVELOPERS.md decides."""

import pytest

from gateway.modem.calls import RING_SECONDS, State
from gateway.modem.effects import Answer, Carrier, Dial, HangUp, Refuse, Send, Show
from gateway.modem.parameters import Parameters
from gateway.modem.results import Failure
from tests.gateway.modem.desk import Desk

NO_CARRIER = Show(b"\r\nNO CARRIER\r\n")
OK = Show(b"\r\nOK\r\n")
CONNECT = Show(b"\r\nCONNECT 9600\r\n")
RING = Show(b"\r\nRING\r\n")
ERROR = Show(b"\r\nERROR\r\n")


# Dialling


def test_a_call_from_here_to_its_end() -> None:
    desk = Desk().type(b"ATDTHarbour\r")
    assert desk.done() == [Dial("Harbour")]
    assert desk.doing() is State.DIALLING
    assert desk.wait(2).connected().done() == [CONNECT, Carrier(True)]
    assert desk.type(b"hello\r\n\xff\0").received(b"\xfftext").done() == [
        Send(b"hello\r\n\xff\0"),
        Show(b"\xfftext"),
    ]
    assert desk.lost().done() == [Carrier(False)]
    assert desk.type(b"nobody hears").wait(1.375).done() == []
    assert desk.wait(0.25).done() == [HangUp(), NO_CARRIER]
    assert desk.doing() is State.COMMAND
    assert desk.modem.due() is None


def test_a_number_goes_with_its_digits() -> None:
    assert Desk().type(b"ATDT0,555-0100\r").wait(2).done() == [Dial("0555-0100", "05550100")]


def test_a_comma_waits_before_the_call() -> None:
    desk = Desk().type(b"ATS8=3DT,harbour,\r")
    assert desk.wait(5.875).done() == []
    assert desk.wait(0.125).done() == [Dial("harbour")]
    assert Desk().type(b"ATS8=0DT,harbour\r").done() == [Dial("harbour")]


def test_nothing_is_hung_up_while_a_comma_waits() -> None:
    desk = Desk().type(b"ATDT,harbour\r").connected().failed().wait(1).type(b"x")
    assert desk.done() == [NO_CARRIER]
    assert desk.wait(60).done() == []


def test_whatever_is_typed_ends_dialling() -> None:
    """Section 5.6: one character, but none of the first 125 ms, for a LF may follow the CR."""
    desk = Desk().type(b"ATDharbour\r\nxyz").wait(0.0625).type(b"\n")
    assert desk.done() == [Dial("harbour")]
    assert desk.wait(0.0625).type(b"\0").done() == [HangUp(), NO_CARRIER]
    assert desk.type(b"AT\r").done() == [OK]


def test_the_rest_of_what_ended_dialling_is_a_command_line() -> None:
    assert Desk().type(b"ATDharbour\r").wait(1).type(b"\rAT\r").done() == [
        Dial("harbour"),
        HangUp(),
        Show(b"\r\nNO CARRIER\r\n\r\nOK\r\n"),
    ]


def test_a_call_may_take_as_long_as_s7_says() -> None:
    desk = Desk().type(b"ATS7=5DTharbour\r").wait(4.875)
    assert desk.done() == [Dial("harbour")]
    assert desk.wait(0.125).done() == [HangUp(), NO_CARRIER]


def test_no_answer_is_for_those_who_wait_for_one() -> None:
    """Section 6.3.1: the modifier @."""
    assert Desk().type(b"ATS7=5DTharbour@\r").wait(5).done() == [
        Dial("harbour"),
        HangUp(),
        Show(b"\r\nNO ANSWER\r\n"),
    ]


def test_s7_counts_from_the_end_of_dialling() -> None:
    desk = Desk().type(b"ATS7=5S8=9DT,harbour\r").wait(13.875)
    assert desk.done() == [Dial("harbour")]
    assert desk.wait(0.125).done() == [HangUp(), NO_CARRIER]


@pytest.mark.parametrize("failure", Failure)
def test_a_failed_call_needs_no_hanging_up(failure: Failure) -> None:
    desk = Desk().type(b"ATX0DTharbour\r").failed(failure)
    assert desk.done() == [Dial("harbour"), NO_CARRIER]
    assert desk.doing() is State.COMMAND


def test_busy_and_no_dialtone() -> None:
    assert Desk().type(b"ATDTharbour\r").failed(Failure.BUSY).shown() == b"\r\nBUSY\r\n"
    assert Desk().type(b"ATDTharbour\r").failed(Failure.NO_LINE).shown() == b"\r\nNO DIALTONE\r\n"


def test_what_is_dialled_in_parts_is_one_call() -> None:
    assert Desk().type(b"ATDT0,@;E0\r", b"ATDT555\r").wait(2).done() == [OK, Dial("0555", "0555")]
    desk = Desk().type(b"ATDT0@;\r", b"ATDT555\r").failed(Failure.SILENT)
    assert desk.done()[-1] == Show(b"\r\nNO ANSWER\r\n")
    assert Desk().type(b"ATDlamp-;D2\r").done() == [Dial("lamp-2")]
    assert Desk().type(b"ATDT0;\r", b"ATDT555\r").failed().type(b"ATDT1\r").done()[-1] == Dial("1", "1")


@pytest.mark.parametrize("line", [b"ATH\r", b"ATZ\r"])
def test_parts_are_forgotten(line: bytes) -> None:
    desk = Desk(parameters=Parameters(echo=0)).type(b"ATDT0;\r", line, b"ATDT555\r")
    assert desk.done()[-1] == Dial("555", "555")


def test_nobody_to_dial() -> None:
    assert Desk().type(b"ATD\r").done() == [NO_CARRIER]
    assert Desk().type(b"ATDT,\r").done() == [NO_CARRIER]


def test_connect_without_a_speed_and_with_a_report() -> None:
    assert Desk().type(b"ATX0DTharbour\r").connected().shown() == b"\r\nCONNECT\r\n"
    reported = Desk().type(b"AT+ILRR=1;DTharbour\r").connected().shown()
    assert reported == b"\r\n+ILRR: 9600\r\n\r\nCONNECT 9600\r\n"


def test_the_line_feed_behind_a_dial_is_no_data() -> None:
    assert Desk().type(b"ATDharbour\r").connected().type(b"\nhello").done()[-1] == Send(b"hello")
    assert Desk().type(b"ATDharbour\r").connected().type(b"\n", b"\n").done()[-1] == Send(b"\n")
    assert Desk().type(b"ATDharbour\r\n").connected().type(b"\n").done()[-1] == Send(b"\n")
    assert Desk().type(b"ATDharbour\r").wait(0.125).connected().type(b"\n").done()[-1] == Send(b"\n")


def test_parts_are_forgotten_when_a_call_is_taken() -> None:
    desk = Desk().type(b"ATDT0;\r").rang().type(b"ATA\r").failed().type(b"ATDT555\r")
    assert desk.done()[-1] == Dial("555", "555")


# Being called


def test_it_rings_every_six_seconds_until_somebody_answers() -> None:
    desk = Desk().rang()
    assert desk.done() == [RING]
    assert desk.wait(RING_SECONDS - 0.125).done() == []
    assert desk.wait(0.125).done() == [RING]
    assert desk.type(b"ATA\r").done() == [Answer()]
    assert desk.doing() is State.ANSWERING
    assert desk.connected().done() == [CONNECT, Carrier(True)]
    assert desk.doing() is State.ONLINE


def test_a_late_look_rings_once() -> None:
    desk = Desk().rang()
    assert desk.modem.at(desk.now + 100) == (RING,)
    assert desk.modem.due() == desk.now + 100 + RING_SECONDS


def test_rings_keep_their_time_where_one_is_a_little_late() -> None:
    desk = Desk().rang()
    began = desk.now
    assert desk.modem.at(began + RING_SECONDS + 0.5) == (RING,)
    assert desk.modem.due() == began + 2 * RING_SECONDS


def test_who_called_may_give_up() -> None:
    desk = Desk().rang().ring_over()
    assert desk.done() == [RING]
    assert desk.doing() is State.COMMAND
    assert desk.wait(60).done() == []
    assert desk.type(b"ATA\r").done() == [NO_CARRIER]


def test_h_turns_a_call_away() -> None:
    desk = Desk().rang().type(b"ATH\r")
    assert desk.done() == [RING, Refuse(), OK]
    assert desk.doing() is State.COMMAND
    assert desk.wait(60).done() == []


@pytest.mark.parametrize("rings", [1, 2, 5])
def test_s0_answers_after_so_many_rings(rings: int) -> None:
    desk = Desk().type(f"ATS0={rings}\r".encode()).rang()
    desk.wait(RING_SECONDS * rings - 0.125)
    assert desk.done() == [Show(b"\r\nOK\r\n" + b"\r\nRING\r\n" * rings), Answer()]


def test_s0_counts_the_rings_that_were() -> None:
    desk = Desk().rang().wait(RING_SECONDS * 3).type(b"ATS0=2\r")
    desk.done()
    assert desk.wait(RING_SECONDS).done() == [RING, Answer()]


def test_a_call_that_is_taken_and_breaks_off() -> None:
    assert Desk().rang().type(b"ATA\r").failed(Failure.BUSY).done() == [RING, Answer(), NO_CARRIER]
    assert Desk().rang().type(b"ATS7=3A\r").wait(3).done() == [RING, Answer(), HangUp(), NO_CARRIER]
    assert Desk().rang().type(b"ATA\r").wait(1).type(b"x").done() == [RING, Answer(), HangUp(), NO_CARRIER]


def test_a_second_caller_finds_the_line_in_use() -> None:
    for desk in (Desk().rang(), Desk().type(b"ATDharbour\r"), Desk().online(), Desk().paused()):
        state = desk.doing()
        desk.done()
        assert desk.rang().done() == [Refuse()]
        assert desk.doing() is state


def test_dialling_turns_away_who_calls() -> None:
    assert Desk().rang().type(b"ATDharbour\r").done() == [RING, Refuse(), Dial("harbour")]


# During a call


def test_out_of_the_data_and_back() -> None:
    desk = Desk().online().wait(1).type(b"+++").wait(1)
    assert desk.done() == [OK]
    assert desk.doing() is State.ONLINE_COMMAND
    assert desk.received(b"kept ").received(b"text").done() == []
    assert not desk.hears()
    assert desk.type(b"ATO\r").done() == [Show(b"\r\nCONNECT 9600\r\nkept text")]
    assert desk.hears()
    assert desk.type(b"+++").wait(1).done() == [Send(b"+++")]  # no silence before


def test_the_line_end_behind_an_ato_is_no_data() -> None:
    assert Desk().paused().type(b"ATO\r\nhello").done() == [CONNECT, Send(b"hello")]


def test_hanging_up() -> None:
    desk = Desk().paused().type(b"ATH\r")
    assert desk.done() == [HangUp(), Carrier(False), OK]
    assert desk.type(b"ATH\r").done() == [OK]


def test_there_is_no_dialling_or_answering_during_a_call() -> None:
    """Section 6.3: both are errors in online command state."""
    assert Desk().paused().type(b"ATDharbour\r").done() == [ERROR]
    assert Desk().paused().type(b"ATA\r").done() == [ERROR]


def test_o_without_a_call() -> None:
    assert Desk().type(b"ATO\r").done() == [ERROR]
    assert Desk().rang().type(b"ATO\r").done() == [Show(b"\r\nRING\r\n\r\nERROR\r\n")]


def test_a_call_that_ends_during_commands() -> None:
    desk = Desk().paused().lost()
    assert desk.done() == [Carrier(False)]
    assert desk.type(b"ATO\r").done() == [HangUp(), NO_CARRIER]
    desk = Desk().paused().lost().wait(2)
    assert desk.done() == [Carrier(False), HangUp(), NO_CARRIER]
    assert desk.type(b"ATO\r").done() == [ERROR]
    assert Desk().paused().lost().type(b"ATH\r").done() == [Carrier(False), HangUp(), OK]


def test_what_was_kept_of_one_call_is_not_shown_in_the_next() -> None:
    desk = Desk().paused().received(b"old").type(b"ATH\r").online().type(b"hello")
    assert desk.done() == [Send(b"hello")]
    desk = Desk().paused().received(b"old").type(b"ATHDharbour\r").connected()
    assert desk.done()[-2:] == [CONNECT, Carrier(True)]


def test_s10_is_the_time_to_no_carrier() -> None:
    desk = Desk().online().wait(1).type(b"+++").wait(1).type(b"ATS10=50O\r").lost()
    desk.done()
    assert desk.wait(4.875).done() == []
    assert desk.wait(0.25).done() == [HangUp(), NO_CARRIER]


def test_a_plus_that_nobody_can_hear_any_more() -> None:
    assert Desk().online().wait(1).type(b"+").lost().wait(2).done() == [Carrier(False), HangUp(), NO_CARRIER]


# The lines beside the data


def test_the_carrier_may_always_be_up() -> None:
    desk = Desk(parameters=Parameters(echo=0, carrier=0))
    assert desk.modem.carrier
    assert desk.type(b"ATDharbour\r").connected().done() == [Dial("harbour"), CONNECT]
    assert desk.lost().wait(2).done() == [HangUp(), NO_CARRIER]
    assert desk.type(b"AT&C1\r").done() == [OK, Carrier(False)]
    assert desk.type(b"AT&C0\r").done() == [OK, Carrier(True)]


def test_a_terminal_that_is_not_ready() -> None:
    """Section 6.2.9."""
    asked = {0: [], 1: [OK], 2: [HangUp(), Carrier(False), NO_CARRIER]}
    states = {0: State.ONLINE, 1: State.ONLINE_COMMAND, 2: State.COMMAND}
    for ready, effects in asked.items():
        desk = Desk(parameters=Parameters(echo=0, ready=ready)).online()
        assert desk.dtr(False).done() == effects
        assert desk.doing() is states[ready]
        assert desk.dtr(False).dtr(True).done() == []


def test_a_terminal_that_is_not_ready_ends_an_attempt() -> None:
    assert Desk().type(b"ATDharbour\r").dtr(False).done() == [Dial("harbour"), HangUp(), NO_CARRIER]
    assert Desk().type(b"ATD,harbour\r").dtr(False).done() == [NO_CARRIER]
    desk = Desk(parameters=Parameters(echo=0, ready=1)).type(b"ATDharbour\r").dtr(False)
    assert desk.done() == [Dial("harbour")]


def test_no_call_is_answered_for_a_terminal_that_is_not_ready() -> None:
    desk = Desk(parameters=Parameters(echo=0, answer_rings=1)).dtr(False).rang().wait(RING_SECONDS)
    assert desk.done() == [Show(b"\r\nRING\r\n" * 2)]
    assert desk.dtr(True).wait(RING_SECONDS).done() == [RING, Answer()]
    desk = Desk(parameters=Parameters(echo=0, answer_rings=1, ready=1)).dtr(False).rang()
    assert desk.done() == [RING, Answer()]


def test_a_held_plus_goes_out_before_the_terminal_leaves() -> None:
    desk = Desk(parameters=Parameters(echo=0, ready=1)).online().wait(1).type(b"++").dtr(False)
    assert desk.done() == [Send(b"++"), OK]
    assert Desk().online().wait(1).type(b"+").dtr(False).done()[:2] == [Send(b"+"), HangUp()]


def test_a_held_plus_goes_out_when_it_can_be_no_escape_any_more() -> None:
    desk = Desk().online().wait(1).type(b"++")
    assert desk.done() == []
    assert desk.wait(1).done() == [Send(b"++")]
    assert desk.doing() is State.ONLINE


# What comes at the wrong time


def test_the_network_out_of_turn_changes_nothing() -> None:
    for desk in (Desk(), Desk().rang(), Desk().type(b"ATD,harbour\r"), Desk().online(), Desk().paused()):
        desk.done()
        state = desk.doing()
        assert desk.connected().failed().done() == []
        assert desk.doing() is state
    for desk in (Desk(), Desk().rang(), Desk().type(b"ATDharbour\r")):
        desk.done()
        state = desk.doing()
        assert desk.received(b"early").lost().done() == []
        assert desk.doing() is state
    desk = Desk().online().ring_over()
    assert desk.doing() is State.ONLINE
