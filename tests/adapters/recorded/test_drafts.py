import errno
import logging
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from adapters.recorded.drafts import content_of, with_content
from adapters.recorded.exchange import Asked, Content, Failure, Message, Told
from adapters.recorded.folder import Folder
from adapters.recorded.tree.disk import Part
from tests.adapters.recorded.exchanges import NOON, folder, hiding, loaded, sized

ASKED = Asked("GET", "http://tides.example/mole.txt")


def parts(path: Path) -> list[Path]:
    return list(path.rglob("*.part"))


def test_a_body_comes_in_pieces(tmp_path: Path) -> None:
    made = folder(tmp_path)
    one, other = made.draft(), made.draft()
    for number in range(5):
        one.add(b"%d" % number)
        other.add(b"x")
    assert len(parts(tmp_path)) == 2
    assert list(made.exchanges()) == []
    one.keep(ASKED, Message(200, (), one.content()))
    other.keep(ASKED, Message(200, (), other.content()))
    assert parts(tmp_path) == []
    said = [content_of(sized(each).reply) for each in loaded(tmp_path).find(ASKED)]
    assert said == [Content(b"01234"), Content(b"xxxxx")]


def test_what_is_dropped_leaves_nothing(tmp_path: Path) -> None:
    made = folder(tmp_path)
    draft = made.draft()
    draft.add(b"x")
    draft.drop()
    draft.add(b"y")
    draft.keep(ASKED, Message(200, (), draft.content()))
    draft.drop()
    assert list(tmp_path.iterdir()) == []


def test_dropped_after_it_was_kept_it_stays(tmp_path: Path) -> None:
    made = folder(tmp_path)
    draft = made.draft()
    draft.add(b"x")
    draft.keep(ASKED, Message(200, (), draft.content()))
    draft.drop()
    draft.keep(ASKED, Message(404))
    (exchange,) = loaded(tmp_path).exchanges()
    assert content_of(sized(exchange).reply) == Content(b"x")


def test_a_body_that_the_reply_does_not_have_goes(tmp_path: Path) -> None:
    made = folder(tmp_path)
    draft = made.draft()
    draft.add(b"x")
    draft.keep(ASKED, Failure("BrokenOff", "The far server broke off"))
    (exchange,) = loaded(tmp_path).exchanges()
    assert exchange.reply == Failure("BrokenOff", "The far server broke off")
    assert {each.suffix for each in tmp_path.rglob("*") if each.is_file()} == {".toml"}


def test_without_a_byte_the_body_is_empty(tmp_path: Path) -> None:
    draft = folder(tmp_path).draft()
    draft.keep(ASKED, Message(200, (), draft.content()))
    (exchange,) = loaded(tmp_path).exchanges()
    assert content_of(sized(exchange).reply) == Content()


def test_a_body_from_elsewhere(tmp_path: Path) -> None:
    draft = folder(tmp_path, "sesame").draft()
    draft.keep(ASKED, Message(200, (), Content(b"sesame")))
    (exchange,) = loaded(tmp_path).exchanges()
    assert content_of(sized(exchange).reply) == Content(b"******")


def test_its_time_is_when_it_began(tmp_path: Path) -> None:
    moments = iter([NOON + timedelta(microseconds=1999), NOON + timedelta(1)])

    def now() -> datetime:
        return next(moments)

    made = Folder(tmp_path, hiding(), now)
    draft = made.draft()
    draft.keep(ASKED, Message(204))
    (exchange,) = made.exchanges()
    assert exchange.at == NOON + timedelta(milliseconds=1)
    assert 0 <= exchange.took < 5


def test_what_could_not_be_read_again_is_not_kept(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    made = folder(tmp_path)
    made.draft().keep(ASKED, Failure("NoSuchError", ""))
    made.draft().keep(Asked("LIST", "ftp://quay.example/"), Told())
    assert [each.levelno for each in caplog.records] == [logging.ERROR]
    assert "failure.error" in caplog.messages[0]
    assert list(loaded(tmp_path).exchanges()) == []
    assert [each for each in tmp_path.rglob("*") if each.is_file()] == []


def test_a_disk_that_takes_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(part: Part, data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    made = folder(tmp_path)
    draft = made.draft()
    draft.add(b"x")
    monkeypatch.setattr(Part, "write", full)
    draft.add(b"y")
    draft.keep(ASKED, Message(200, (), draft.content()))
    made.draft().keep(ASKED, Message(204))
    monkeypatch.undo()
    assert caplog.messages == ["an exchange was not recorded: No space left on device"]
    assert [each for each in tmp_path.rglob("*") if each.is_file()] == []
    made.draft().keep(ASKED, Message(204))
    assert len(list(loaded(tmp_path).exchanges())) == 1


def test_a_reply_and_its_content() -> None:
    told = Told(content=Content(b"a"))
    assert content_of(with_content(told, Content(b"b"))) == Content(b"b")
    failure = Failure("TooSlow", "")
    assert content_of(failure) is None
    assert with_content(failure, Content(b"b")) is failure
