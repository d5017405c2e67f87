"""An error that is kept is the same error when it is raised again."""

from pathlib import Path

import pytest

from adapters.errors import AskedTooOften, FarBusy, HeadraceError, MayBeDone, NotThere
from adapters.recorded.exchange import Asked, Content
from adapters.recorded.failures import bytes_of, failure_of, fault_of, not_recorded
from adapters.recorded.ports import Miss


@pytest.mark.parametrize(
    "fault",
    [
        NotThere("Nothing there"),
        MayBeDone("It may be done"),
        AskedTooOften("Too often", 30),
        FarBusy("Busy", None),
    ],
    ids=lambda fault: type(fault).__name__,
)
@pytest.mark.parametrize("sent", [True, False])
def test_there_and_back(fault: HeadraceError, sent: bool) -> None:
    fault.far = "ftp://a.example"
    failure = failure_of(fault, sent=sent)
    again = fault_of(failure)
    assert (type(again), again.sentence, again.far) == (type(fault), fault.sentence, fault.far)
    assert getattr(again, "seconds", None) == getattr(fault, "seconds", None)
    assert failure.sent == sent


def test_nothing_recorded_tells_what_comes_nearest() -> None:
    class Near:
        def __init__(self, miss: Miss) -> None:
            self._miss = miss

        def missing(self, asked: Asked) -> Miss:
            return self._miss

    asked = Asked("GET", "http://a.example/?day=1")
    near = Miss("GET http://a.example/other", "the path")
    assert not_recorded(Near(near), asked).notes == (  # type: ignore[arg-type]
        ("NEAREST", "GET http://a.example/other"),
        ("DIFFERS", "the path"),
    )
    assert not_recorded(Near(Miss()), asked).notes == ()  # type: ignore[arg-type]


def test_a_body_that_was_removed_by_hand(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The log tells which file; the client is told without a path of the gateway's own disk."""
    with pytest.raises(HeadraceError) as caught:
        list(bytes_of(Content(path=tmp_path / "gone.json")))
    assert (type(caught.value), caught.value.sentence) == (HeadraceError, "The recording cannot be read")
    assert "gone.json: No such file" in caplog.text
