"""Tables in words: what stands in them is what the run and the advice say."""

from dataclasses import replace

from gateway.serial.advice import advise
from gateway.serial.framing import Framing, cycles
from gateway.serial.machine import Machine, Overrun, Receiver, XonXoff
from gateway.serial.reply import Shape
from gateway.serial.report.tables import Table, facts, losses, milliseconds, proposals, to_type
from gateway.serial.simulation import simulate
from gateway.serial.way import Link, Noise, Way
from gateway.wire.settings import Settings

CR = Settings(eol="cr")
POLLED = Machine(byte_seconds=cycles(500), record_seconds=cycles(12_500))


def described(way: Way, shape: Shape) -> dict[str, str]:
    lines = shape.lines(way.settings)
    return {row[0]: row[1] for row in facts(way, lines, simulate(way, lines)).rows}


def test_facts() -> None:
    told = described(Way(Framing(9_600), POLLED, CR), Shape(3, 40))
    assert told["line"] == "9,600 bits a second 8N1: 10 bits and 1.0417 ms a character"
    assert told["reply"] == "status line and 3 records of 40, 140 bytes with CR"
    assert told["machine"] == "polled, UART of 1; 0.5 ms a byte, 12.5 ms a record"
    assert told["settings"] == "as fast as the link"
    assert told["lost"] == "33 of 140 bytes"
    assert told["waiting"] == "at most 1 of 1 bytes in the UART"


def test_facts_of_an_interrupt_on_a_noisy_line() -> None:
    machine = Machine(Receiver.INTERRUPT, 16, Overrun.OLD, service_seconds=cycles(100))
    way = Way(Framing(9_600), machine, Settings(flow="xon"), noise=Noise(0.01))
    lines = Shape(0, 40).lines(way.settings)
    run = simulate(way, lines)
    told = {row[0]: row[1] for row in facts(way, lines, run).rows}
    assert told["reply"] == "status line and no records, 18 bytes with CR LF"
    assert told["machine"].startswith("interrupt of 0.1 ms, UART of 16 that overwrites, buffer of 128;")
    assert told["garbled"] in (
        f"1 byte, {run.marked} of them marked by the UART",
        f"{run.garbled} bytes, {run.marked} of them marked by the UART",
    )
    assert "no 13h and 11h" in told["note"]


def test_a_reply_that_never_ends_is_told() -> None:
    machine = Machine(byte_seconds=cycles(2_600))
    told = described(Way(Framing(9_600), machine, Settings(eol="cr", window=1)), Shape(3, 9))
    assert told["time"].startswith("never done")
    assert told["lost"].endswith("never sent")


def test_losses_name_record_and_column() -> None:
    way = Way(Framing(9_600), POLLED, CR)
    lines = Shape(3, 40).lines(CR)
    run = simulate(way, lines)
    table = losses(lines, run, CR)
    assert table is not None
    assert len(table.rows) == 10
    assert table.title == "the first 10 of 33 lost bytes"
    first = run.losses[0]
    assert table.rows[0] == (str(first.line), str(first.column), "UART", f"{float(first.seconds):,.4f} s")
    assert losses(lines, simulate(Way(Framing(300), Machine(), CR), lines), CR) is None


def test_a_lost_line_end_is_called_that() -> None:
    machine = Machine(byte_seconds=cycles(2_600))
    lines = [b"ABCDEF\r"]
    table = losses(lines, simulate(Way(Framing(9_600), machine, CR), lines), CR)
    assert table is not None
    assert [row[:2] for row in table.rows] == [("status", "3"), ("status", "5"), ("status", "line end")]


def test_proposals_cost_what_they_cost() -> None:
    way, shape = Way(Framing(9_600), POLLED, CR), Shape(12, 60)
    advice = advise(way, shape, spare=0)
    table = proposals(advice, way)
    assert table.title == "what loses nothing, and what it costs"
    rows = {row[0]: row for row in table.rows}
    assert advice.pace is not None
    assert advice.best is not None
    unlimited = advice.unlimited.finished or advice.unlimited.ended
    seconds, more = rows["pace=153"][1:3]
    assert seconds == f"{float(advice.pace.seconds):,.3f} s"
    assert more == f"{float(advice.pace.seconds / unlimited) - 1:+.1%}"
    assert rows["as fast as the link"][3] == f"loses {len(advice.unlimited.losses)}"
    assert [row[3] for row in table.rows].count("best") == 1
    text = to_type(advice, way, "my-machine")
    assert f"    SET {advice.best.words(CR)}" in text
    assert "    [profile.my-machine]" in text
    assert '    eol = "cr"' in text


def test_advice_says_for_which_records_it_holds() -> None:
    way, shape = Way(Framing(9_600), POLLED, CR), Shape(12, 60)
    advice = advise(way, shape)
    assert to_type(advice, way, "my-machine", 60)[-1] == (
        "This holds for records of up to 60. Wider ones may lose bytes; most=60 has the gateway refuse them."
    )
    assert "most=" not in to_type(advice, way, "my-machine", 15)[-1]  # the least that `most` takes is 16
    fast = Way(Framing(9_600), Machine(), CR)
    assert to_type(advise(fast, shape), fast, "my-machine", 60) == ["Nothing need be changed."]


def test_a_ready_profile_that_takes_settings_back_is_told() -> None:
    """SET with a profile's name resets all other settings to it."""
    way = Way(Framing(9_600), POLLED, Settings(eol="cr", check="crc", guard=True))
    advice = advise(way, Shape(12, 40))
    assert advice.ready is not None
    assert advice.ready.settings.eol == "cr"
    said = next(line for line in to_type(advice, way, "my-machine") if line.startswith("A ready profile"))
    assert said == "A ready profile that would do, without guard=on check=crc"
    way = replace(way, settings=CR)
    assert "A ready profile that would do" in to_type(advise(way, Shape(12, 40)), way, "my-machine")


def test_flow_that_an_adapter_sees_to_need_not_be_changed() -> None:
    machine = Machine(
        Receiver.INTERRUPT,
        byte_seconds=cycles(1_500),
        buffer_bytes=128,
        xon=XonXoff(96, 32),
        record_seconds=0,
    )
    way = Way(Framing(9_600), machine, Settings(flow="xon"), Link(adapter_xon=True))
    assert to_type(advise(way, Shape(12, 40)), way, "my-machine", 40) == ["Nothing need be changed."]


def test_what_only_just_loses_nothing_is_told() -> None:
    """1,030 cycles a byte of 1,041.7: two percent more are too many."""
    way, shape = Way(Framing(9_600), Machine(byte_seconds=cycles(1_030)), CR), Shape(12, 60)
    advice = advise(way, shape, spare=0.02)
    table = proposals(advice, way)
    assert table.title == "what loses nothing with 2% to spare, and what it costs"
    assert table.rows[0][3] == "only just loses none"
    assert [row[3] for row in table.rows].count("best") == 1
    assert to_type(advice, way, "my-machine")[0] == "Type"
    edge = proposals(advise(way, shape, spare=0), way)
    assert [row[3] for row in edge.rows] == ["loses none"]


def test_the_waiting_loop_and_the_status_line_are_told() -> None:
    machine = Machine(
        byte_seconds=cycles(40),
        record_seconds=cycles(900),
        status_seconds=cycles(200),
        look_seconds=cycles(9),
        notice_seconds=cycles(8),
    )
    told = described(Way(Framing(9_600), machine, CR), Shape(3, 40))
    assert told["machine"] == (
        "polled, UART of 1; 0.04 ms a byte, 0.9 ms a record, 0.2 ms the status line;"
        " looks every 0.009 ms, takes 0.008 ms later"
    )


def test_nothing_to_do_and_nothing_to_be_done() -> None:
    fast = Way(Framing(9_600), Machine(), CR)
    assert to_type(advise(fast, Shape(3, 20)), fast, "my-machine") == ["Nothing need be changed."]
    slow = Way(Framing(9_600), Machine(byte_seconds=40), CR)
    advice = advise(slow, Shape(2, 20))
    assert "No pace, gap or window" in to_type(advice, slow, "my-machine")[0]
    assert {row[0] for row in proposals(advice, slow).rows} == {
        "as fast as the link",
        "any window",
        "any pace",
        "any gap",
    }


def test_against_noise_there_are_checks() -> None:
    way = Way(Framing(9_600), Machine(), CR, noise=Noise(0.001))
    text = " ".join(to_type(advise(way, Shape(3, 20)), way, "my-machine"))
    assert "SET noisy-line" in text
    assert "check=crc" in text


def test_plain_columns_are_wrapped_and_aligned() -> None:
    table = Table(
        ("name", "n", "text"), [("a", "1", "word " * 30), ("bb", "22", "x")], frozenset({1}), "title"
    )
    lines = table.plain(40)
    assert lines[:3] == ["title", "name   n  text", "a      1  word word word word word word"]
    assert lines[-1] == "bb    22  x"
    assert all(len(line) <= 40 for line in lines)


def test_milliseconds() -> None:
    assert milliseconds(cycles(104)) == "0.104 ms"
    assert milliseconds(Framing(9_600).seconds) == "1.0417 ms"


def test_two_settings_together_are_a_row_of_their_own_where_they_are_best() -> None:
    way = Way(Framing(19_200), Machine(byte_seconds=cycles(800), record_seconds=cycles(12_500)), CR)
    advice = advise(way, Shape(6, 60))
    assert advice.best is not None
    assert advice.best.words(CR) == "pace=1246 window=1"
    (row,) = [each for each in proposals(advice, way).rows if each[3] == "best"]
    assert row[0] == "pace=1246 window=1"


def test_how_wide_a_table_with_rules_is() -> None:
    """Each cell with a blank at both sides, a rule between cells, and one at each end."""
    assert Table(("a", "bbb"), [("12", "3")]).ruled_width == len("| 12 | bbb |")
    assert Table((), [("name", "text")]).ruled_width == len("| name | text |")
