"""WHY: every part of how a reply came about (CONTRACT section 3)."""

import pytest

from adapters import limits
from gateway.session.explaining import named_records
from gateway.session.wishes import ActWish, Done, Granted, Wish
from tests.gateway.session.conftest import Talk
from tests.gateway.session.files.far import CLUB, Far, FarTalk, far_talk


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


# What goes on without the client


def told(talk: FarTalk) -> list[str]:
    return [record.rstrip() for record in talk.records("WHY")]


@pytest.fixture
def away() -> FarTalk:
    """A connection whose COPY goes on without it."""
    talk = far_talk(Far({CLUB + "a": b"A"}, code=150))
    talk.say("SET cols=80")
    assert talk.status("COPY club:a club:b")[:3] == "150"
    talk.far.copied = 5
    return talk


def test_a_150_is_told_after_other_requests_until_it_has_ended(away: FarTalk) -> None:
    away.say("TIME")
    assert told(away)[0] == "REQUEST  TIME"
    assert told(away)[2:] == ["COPIED   5 bytes", "FROM     club"]
    away.say("PING")
    away.far.copied, away.far.ended = 9, True
    assert told(away)[2:] == ["ERROR    Not a request; HELP lists them", "COPIED   9 bytes", "FROM     club"]
    assert told(away)[2:] == ["ERROR    Not a request; HELP lists them"]


def test_a_150_that_is_the_last_reply_is_told_once(away: FarTalk) -> None:
    for _ in range(2):
        assert told(away)[2:] == ["COPIED   5 bytes", "FROM     club"]
    away.far.ended = True
    for _ in range(2):
        assert told(away)[2:] == ["COPIED   5 bytes", "FROM     club"]
    away.say("TIME")
    assert told(away)[2:] == []


def test_an_end_is_told_even_where_it_comes_while_why_is_answered() -> None:
    said: list[str] = []
    ends = iter([False, True, True])

    def progress() -> list[tuple[str, str]]:
        said.append("asked")
        return [("JOB", f"asked {len(said)} times")]

    talk = far_talk(Far({CLUB + "a": b"A"}))
    grant = talk.grant
    talk.grant = lambda wish: (
        Done(150, progress, lambda: next(ends)) if isinstance(wish, ActWish) else grant(wish)
    )
    talk.say("SET cols=80")
    talk.say("COPY club:a club:b")
    talk.say("TIME")
    assert told(talk)[2:] == ["JOB      asked 1 times"]
    assert told(talk)[2:] == ["JOB      asked 2 times"]
    assert told(talk)[2:] == []


def test_only_so_many_are_remembered() -> None:
    talk = far_talk()
    ended = {"3"}
    talk.say("SET cols=80")

    def grant(wish: Wish) -> Granted:
        assert isinstance(wish, ActWish)
        name = wish.ref.segment
        return Done(150, lambda: [("JOB", name)], lambda: name in ended)

    talk.grant = grant
    for number in range(limits.BEGUN + 2):
        talk.say(f"ERASE club:{number}")
    talk.say("TIME")
    numbers = [str(number) for number in range(limits.BEGUN + 2) if number not in {0, 3}]
    assert told(talk)[2:] == [f"JOB      {number}" for number in numbers]
