"""What a run says of itself."""

from fractions import Fraction

from gateway.serial.run import Loss, Run, Where

WHOLE = Run(
    sent=10,
    unsent=0,
    intact=10,
    garbled=0,
    marked=0,
    losses=(),
    received=b"0123456789",
    finished=Fraction(2),
    ended=Fraction(2),
    busy=Fraction(1),
    largest=1,
    uart_largest=1,
)


def changed(**what: object) -> Run:
    names = {name: getattr(WHOLE, name) for name in Run.__dataclass_fields__}
    return Run(**{**names, **what})


def test_lossless_is_all_of_it_and_done() -> None:
    assert WHOLE.lossless
    assert not changed(losses=(Loss(3, 0, 4, Where.UART, Fraction(1)),)).lossless
    assert not changed(unsent=1).lossless
    assert not changed(finished=None).lossless


def test_load_is_the_busy_part_of_the_time() -> None:
    assert WHOLE.load == 0.5
    assert changed(finished=None, ended=Fraction(4)).load == 0.25
    assert changed(finished=None, ended=Fraction(0), busy=Fraction(0)).load == 0.0
