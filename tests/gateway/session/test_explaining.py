"""WHY: every part of how a reply came about (CONTRACT section 3)."""

import pytest

from gateway.session.explaining import named_records
from tests.gateway.session.conftest import Talk
from tests.gateway.session.files.far import CLUB, Far, far_talk


def test_a_long_text_goes_on_under_a_blank_name() -> None:
    assert named_records([("NAME", "one two three")], 16) == ["NAME     one two", "         three  "]
    assert named_records([("LONGERTHAN8", "")], 16) == ["LONGERTH        "]


def test_nothing_to_explain(talk: Talk) -> None:
    assert talk.status("WHY")[:3] == "503"


def test_an_abandoned_request_is_told(talk: Talk) -> None:
    talk.say("SET cols=80")
    talk.say("ASK tides")
    talk.session.abandoned()
    assert "ERROR    Abandoned; a change may have been done" in [
        record.rstrip() for record in talk.records("WHY")
    ]


@pytest.mark.parametrize("line", ["STORE club:x", "BASE club:", "SET cols=80"])
def test_replies_without_an_account(line: str) -> None:
    talk = far_talk(Far({CLUB + "a": b"A"}))
    talk.say("SET cols=80")
    talk.say(line)
    if line.startswith("STORE"):
        talk.say("STOP")
    told = [record.rstrip() for record in talk.records("WHY")]
    if line.startswith("STORE"):
        assert told[0] == "REQUEST  STORE club:x"
        assert told[1].startswith("REPLY    503")
    else:
        assert told == [f"REQUEST  {line}", "REPLY    200 00000 000 .."]


def test_progress_is_made_printable_ascii() -> None:
    """What a far server says may stand in it."""
    talk = far_talk(Far({CLUB + "a": b"A"}))
    talk.say("SET cols=80")
    talk.say("ERASE club:a")
    assert [record.rstrip() for record in talk.records("WHY")] == [
        "REQUEST  ERASE club:a",
        "REPLY    250 00000 000 ..",
        "COPIED   100 bytes",
        "FROM     club",
    ]
