"""Saying and listening as steps."""

from gateway.session.counter.steps import Came, Listen, Said, Say, listen, say


def test_they_hand_on_what_they_get() -> None:
    steps = say(b"a")
    assert next(steps) == Say(b"a")
    try:
        steps.send(Said(1.0, cancelled=True))
    except StopIteration as stop:
        assert stop.value == Said(1.0, cancelled=True)
    hearing = listen(5.0)
    assert next(hearing) == Listen(5.0)
    try:
        hearing.send(Came(b"x", 2.0))
    except StopIteration as stop:
        assert stop.value == Came(b"x", 2.0)
