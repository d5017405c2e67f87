"""TELL with the client's own lines: what ends a transfer, and what never runs (CONTRACT sections 1 and 3)."""

import pytest

from gateway.session.wishes import SourceWish
from tests.gateway.session.conftest import Talk


def test_tell(talk: Talk) -> None:
    assert talk.status("TELL score 8200") == "200 00003 018 .*"


def test_tell_takes_lines(talk: Talk) -> None:
    assert talk.say("TELL guest") == ("350 00000 000 ..", [])
    assert talk.say(">Hello there") is None
    assert talk.say("? >" + "long " * 100) is None
    assert talk.say(">") is None
    assert talk.status(".") == "200 00003 018 .*"
    wish = talk.wishes[0]
    assert isinstance(wish, SourceWish)
    assert wish.lines == "Hello there\n" + "long " * 100 + "\n\n"


@pytest.mark.parametrize("line", ["BYE", "TIME", "..", " .", ". ", ".\t", "? ? .", "Z" * 300])
def test_any_other_line_ends_the_transfer_and_is_not_run(talk: Talk, line: str) -> None:
    talk.say("TELL guest")
    talk.say(">Hello")
    assert talk.say(line) == ("503 00001 040 ..", ["A line lacked its >; nothing sent".ljust(40)])
    assert not talk.wishes
    assert not talk.session.closing
    assert talk.status("NOOP") == "200 00000 000 .."


def test_cancel_ends_a_transfer_with_503(talk: Talk) -> None:
    talk.say("TELL guest")
    talk.say(">Hello")
    assert talk.raw(b"half a li\x18")[:16] == b"503 00001 040 .."
    assert talk.raw(b"\x18") == b""
    assert not talk.wishes


def test_what_is_wrong_with_data_is_told_after_the_end(talk: Talk) -> None:
    talk.say("TELL guest")
    assert talk.say(">caf\xe9") is None
    assert talk.say(">fine") is None
    assert talk.status(".") == "501 00001 040 .."
    assert not talk.wishes


def test_too_much_data_is_552_after_the_end(talk: Talk) -> None:
    talk.say("TELL guest")
    for _ in range(5):
        assert talk.say(">" + "x" * 1_000_000) is None
    assert talk.status(".") == "552 00001 040 .."
    assert not talk.wishes
