"""What its author reads of a run."""

from gateway.rehearsal.showing import differences, summary
from tests.gateway.rehearsal.gateways import answering, rehearsed
from tests.gateway.rehearsal.test_running import ANSWERS, GOOD


async def test_columns_are_marked() -> None:
    run = await rehearsed("say ASK\nhear 200 00003 003 ..\nhear|abc|\nhear dxf", answering(ANSWERS))
    assert list(differences(run)) == [
        "x.rehearsal:2: differs\n"
        "  expected  hear|200 00003 003 ..|\n"
        "  came      hear|200 00002 003 ..|\n"
        "                         ^",
        "x.rehearsal:4: differs\n  expected  hear|dxf|\n  came      hear|def|\n                  ^",
    ]
    assert summary(run) == "x.rehearsal: 2 differences"


async def test_columns_of_bytes_that_are_spelled() -> None:
    run = await rehearsed("say RAW\ntake \\x00\\x01\\x03", answering(ANSWERS))
    expected, came, marks = next(iter(differences(run))).splitlines()[1:]
    assert expected.index("\\x03") == came.index("\\x02")
    assert (marks.index("^"), marks.strip()) == (came.index("\\x02"), "^^^^")


async def test_what_did_not_come_and_what_came_as_well() -> None:
    run = await rehearsed("within 0.1\nsay ASK\nhear x", answering(ANSWERS))
    text = "\n".join(differences(run))
    assert "x.rehearsal:3: came as well\n  expected  nothing\n  came      hear abc" in text
    run = await rehearsed("within 0.1\nsay ASK\nhear x\nskip 5", answering(ANSWERS))
    text = "\n".join(differences(run))
    assert "x.rehearsal:4: 2 came; nothing more came in time\n  expected  skip 5\n  came      skip 2" in text


async def test_good_ones_and_broken_ones() -> None:
    assert summary(await rehearsed(GOOD, answering(ANSWERS))).startswith(
        "x.rehearsal: as expected (7 expectations"
    )
    run = await rehearsed("dial listener 2", answering(ANSWERS))
    assert summary(run) == "x.rehearsal: stopped at line 1: there is no listener 2"


async def test_a_very_long_line_is_cut() -> None:
    run = await rehearsed("say LONG\nhear x", answering({b"LONG": b"y" * 5000 + b"\r\n"}))
    assert all(len(line) < 450 for line in next(iter(differences(run))).splitlines())
