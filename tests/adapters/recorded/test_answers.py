"""What far servers answer is kept; that one could not be reached is not."""

from pathlib import Path

import pytest

from adapters.errors import CannotConnect, HeadraceError, NotThere, TooSlow
from adapters.files import Kind, Stat
from adapters.recorded.answers import AnswersOnly, not_reached
from adapters.recorded.exchange import Asked, Content, Reply, Told
from adapters.recorded.failures import failure_of
from tests.adapters.recorded.exchanges import folder, loaded

ASKED = Asked("READ", "ftp://a.example/x")


@pytest.mark.parametrize(
    ("fault", "kept"), [(CannotConnect("Nobody there"), 0), (TooSlow(), 0), (NotThere("No such file"), 1)]
)
def test_failures(fault: HeadraceError, kept: int, tmp_path: Path) -> None:
    assert not_reached(fault) is (kept == 0)
    AnswersOnly(folder(tmp_path)).draft().keep(ASKED, failure_of(fault, sent=False))
    assert len(loaded(tmp_path).find(ASKED)) == kept


def test_answers(tmp_path: Path) -> None:
    draft, dropped = (AnswersOnly(folder(tmp_path)).draft() for _ in range(2))
    for each in (draft, dropped):
        each.add(b"bytes")
    reply: Reply = Told(stat=Stat(Kind.FILE, 5), content=draft.content(), size=5)
    draft.keep(ASKED, reply)
    dropped.drop()
    (found,) = loaded(tmp_path).find(ASKED)
    assert isinstance(found.reply, Told)
    assert found.reply.content == Content(b"bytes")
