"""Bits a character and seconds a character, against hand arithmetic."""

from fractions import Fraction

import pytest

from adapters.errors import WrongWords
from gateway.serial.framing import Framing, Parity, cycles, exact

# Common practice, from memory: 8N1 is ten bits a character; teleprinters of 110 bits a second have two stop
# bits and eleven bits, so ten characters a second; those of 50 bits with 7.5 bits are not of seven data bits.
USUAL = [
    (Framing(300), 10, 30),
    (Framing(1_200), 10, 120),
    (Framing(2_400), 10, 240),
    (Framing(9_600), 10, 960),
    (Framing(19_200), 10, 1_920),
    (Framing(115_200), 10, 11_520),
    (Framing(110, stop_bits=2), 11, 10),
    (Framing(110, 7, Parity.EVEN, 2), 11, 10),
    (Framing(300, 7, Parity.EVEN), 10, 30),
    (Framing(1_200, 8, Parity.ODD, 2), 12, 100),
    (Framing(1_050, 8, Parity.NONE, 1.5), Fraction(21, 2), 100),
]


@pytest.mark.parametrize(("framing", "bits", "rate"), USUAL, ids=lambda each: str(each)[:40])
def test_usual_rates(framing: Framing, bits: int, rate: int) -> None:
    assert framing.bits == bits
    assert framing.seconds == Fraction(1, rate)


def test_names_are_the_usual_ones() -> None:
    assert Framing(9_600).name == "8N1"
    assert Framing(300, 7, Parity.EVEN).name == "7E1"
    assert Framing(110, 8, Parity.NONE, 1.5).name == "8N1.5"
    assert Framing(110, 7, Parity.MARK, 2).name == "7M2"


def test_cycles_of_a_clock() -> None:
    """A megahertz is a million cycles a second (SI)."""
    assert cycles(104) == Fraction(104, 1_000_000)
    assert cycles(82, 3.5) == Fraction(82, 3_500_000)
    assert exact(0.1) == Fraction(1, 10)


@pytest.mark.parametrize(
    "wrong",
    [
        {"baud": 0},
        {"baud": -300},
        {"baud": 1e9},
        {"baud": 300, "data_bits": 5},
        {"baud": 300, "stop_bits": 3},
        {"baud": 300, "stop_bits": 0},
    ],
)
def test_lines_that_do_not_exist_are_refused(wrong: dict[str, int]) -> None:
    with pytest.raises(WrongWords):
        Framing(**wrong)  # type: ignore[arg-type]
