"""How long a failing far server is left alone. Retry-After: RFC 9110 section 10.2.3."""

from adapters import limits
from adapters.errors import AskedTooOften, CannotConnect, FarBusy, FarFault, TooSlow
from gateway.service.caching.pauses import Pauses


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


def noted(fault: FarFault) -> tuple[Pauses, Clock]:
    clock = Clock()
    pauses = Pauses(clock)
    pauses.note("k", fault)
    return pauses, clock


def test_any_failure_makes_a_short_pause_that_binds_nobody() -> None:
    for fault in (TooSlow(), CannotConnect(), FarBusy(), AskedTooOften(), FarBusy("x", 0)):
        pauses, clock = noted(fault)
        pause = pauses.get("k")
        assert pause is not None
        assert pause.wish is None
        assert pauses.get("other") is None
        clock.now += limits.FAILURE_PAUSE_SECONDS
        assert pauses.get("k") is None


def test_the_servers_wish_binds_and_tells_what_is_left() -> None:
    for kind in (AskedTooOften, FarBusy):
        pauses, clock = noted(kind("wait", 30))
        clock.now += 9.5
        pause = pauses.get("k")
        assert pause is not None
        assert pause.wish is not None
        fault = pause.wish.fault(clock.now)
        assert type(fault) is kind
        assert (fault.sentence, getattr(fault, "seconds", None)) == ("wait", 21)
        clock.now += 20.5
        assert pauses.get("k") is None


def test_the_wish_is_kept_up_to_a_cap() -> None:
    pauses, clock = noted(AskedTooOften("wait", 86_400))
    clock.now += limits.RETRY_HOLD_SECONDS - 1
    pause = pauses.get("k")
    assert pause is not None
    assert pause.wish is not None
    assert getattr(pause.wish.fault(clock.now), "seconds", None) == 86_400 - limits.RETRY_HOLD_SECONDS + 1
    clock.now += 1
    assert pauses.get("k") is None


def test_an_answer_ends_it() -> None:
    pauses, _ = noted(FarBusy("wait", 30))
    pauses.clear("k")
    pauses.clear("k")
    assert pauses.get("k") is None


def test_a_clock_set_back_ends_it_too() -> None:
    pauses, clock = noted(FarBusy("wait", 30))
    clock.now -= 86_400
    assert pauses.get("k") is None


def test_not_everything_is_remembered() -> None:
    pauses = Pauses(Clock())
    for number in range(limits.PAUSES):
        pauses.note(str(number), TooSlow())
    pauses.note("0", TooSlow())
    pauses.note("one more", TooSlow())
    assert [pauses.get(key) is not None for key in ("0", "1", "2", "one more")] == [True, False, True, True]


def test_only_what_the_far_server_asked_for_binds() -> None:
    for fault, binding in ((CannotConnect(), False), (FarBusy("x", 30), True)):
        pauses, _ = noted(fault)
        pause = pauses.get("k")
        assert pause is not None
        assert pause.binding is binding
