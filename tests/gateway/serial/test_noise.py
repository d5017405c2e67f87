"""Wrong bits: how many, which, and what a UART makes of them."""

import itertools
import math

import pytest

from gateway.serial.framing import Framing, Parity
from gateway.serial.noise import NoisyLine
from gateway.serial.way import Noise


def heard(noise: Noise, framing: Framing, count: int, byte: int = 0x55) -> list[tuple[int | None, bool]]:
    line = NoisyLine(noise, framing)
    return [line.hear(byte) for _ in range(count)]


def test_no_noise_changes_nothing() -> None:
    assert heard(Noise(), Framing(9_600), 1_000) == [(0x55, False)] * 1_000


@pytest.mark.parametrize("parity", Parity)
def test_the_same_seed_is_the_same_noise(parity: Parity) -> None:
    framing = Framing(9_600, 8, parity)
    first = heard(Noise(0.01, 7), framing, 5_000)
    assert first == heard(Noise(0.01, 7), framing, 5_000)
    assert first != heard(Noise(0.01, 8), framing, 5_000)


@pytest.mark.parametrize("rate", [0.5, 0.1, 0.01, 0.001])
def test_each_bit_is_wrong_as_often_as_told(rate: float) -> None:
    """Data bits of the characters that come: binomial; six standard deviations are one in 500 million."""
    came = [value for value, _ in heard(Noise(rate, 3), Framing(9_600), 60_000) if value is not None]
    for place in range(8):
        flips = sum((value ^ 0x55) >> place & 1 for value in came)
        bound = 6 * math.sqrt(len(came) * rate * (1 - rate))
        assert abs(flips - len(came) * rate) <= bound, f"bit {place}"


@pytest.mark.parametrize("rate", [0.5, 0.02])
def test_a_wrong_start_bit_loses_the_character_and_a_wrong_stop_bit_marks_it(rate: float) -> None:
    results = heard(Noise(rate, 4), Framing(9_600), 60_000)
    bound = 6 * math.sqrt(60_000 * rate * (1 - rate))
    lost = sum(value is None for value, _ in results)
    assert abs(lost - 60_000 * rate) <= bound
    came = 60_000 - lost
    marked = sum(marked for _, marked in results)
    assert abs(marked - came * rate) <= bound


def test_neighbouring_bits_are_wrong_independently() -> None:
    """Both of two bits: the product of the rates, within six standard deviations."""
    rate, count = 0.2, 60_000
    came = [value ^ 0x55 for value, _ in heard(Noise(rate, 5), Framing(9_600), count) if value is not None]
    both, expected = sum(value & 3 == 3 for value in came), len(came) * rate**2
    assert abs(both - expected) <= 6 * math.sqrt(len(came) * rate**2 * (1 - rate**2))


@pytest.mark.parametrize("parity", [Parity.EVEN, Parity.ODD])
def test_parity_finds_odd_numbers_of_wrong_data_bits_where_itself_is_right(parity: Parity) -> None:
    """A byte that differs by an odd number of bits and is not marked needs its parity bit wrong as well."""
    results = heard(Noise(0.001, 6), Framing(9_600, 8, parity), 200_000)
    single = [marked for value, marked in results if value is not None and (value ^ 0x55).bit_count() == 1]
    double = [marked for value, marked in results if value is not None and (value ^ 0x55).bit_count() == 2]
    assert len(single) > 1_000
    assert sum(single) / len(single) > 0.99
    assert double
    assert sum(double) / len(double) < 0.5


def test_without_parity_a_changed_byte_looks_right() -> None:
    results = heard(Noise(0.001, 6), Framing(9_600), 100_000)
    changed = [marked for value, marked in results if value not in {None, 0x55}]
    assert len(changed) > 500
    assert sum(changed) / len(changed) < 0.01  # only where the stop bit is wrong as well


def test_mark_parity_tells_of_its_own_bit_alone() -> None:
    results = heard(Noise(0.001, 6), Framing(9_600, 7, Parity.MARK), 100_000)
    changed = [marked for value, marked in results if value not in {None, 0x55}]
    right = [marked for value, marked in results if value == 0x55]
    assert sum(changed) / len(changed) < 0.01
    assert 100 < sum(right) < 350  # its bit and the stop bit, 200 of 100,000 expected


def test_seven_bits_stay_seven_bits() -> None:
    assert all(value is None or value < 128 for value, _ in heard(Noise(0.3), Framing(300, 7), 5_000, 0x7F))


@pytest.mark.parametrize("parity", [Parity.EVEN, Parity.ODD])
def test_a_wrong_parity_bit_marks_a_right_byte(parity: Parity) -> None:
    """Right bytes are marked for their parity bit or their stop bit: 200 of 100,000, six deviations of 14."""
    results = heard(Noise(0.001, 9), Framing(9_600, 8, parity), 100_000)
    assert 115 < sum(marked for value, marked in results if value == 0x55) < 285


class Scripted(NoisyLine):
    """The wrong bits are those given, counted from the first bit of the first character."""

    def __init__(self, wrong: list[int], framing: Framing) -> None:
        self._gaps = [after - before - 1 for before, after in itertools.pairwise((-1, *wrong))]
        super().__init__(Noise(0.5), framing)

    def _run(self) -> int:
        return self._gaps.pop(0) if self._gaps else 1 << 62


@pytest.mark.parametrize("parity", [Parity.NONE, Parity.EVEN, Parity.ODD])
def test_whichever_bits_are_wrong(parity: Parity) -> None:
    """All sets of them in one character, and the same of the one behind: as on the wire, start bit, data from
    the lowest, parity, stop bit (common practice).
    """
    checked = parity is not Parity.NONE
    bits = 10 + checked
    for number in range(1 << bits):
        wrong = [place for place in range(bits) if number >> place & 1]
        sent = [0, *(0x55 >> place & 1 for place in range(8)), *[int(parity is Parity.ODD)] * checked, 1]
        came = [bit ^ (place in wrong) for place, bit in enumerate(sent)]
        value = sum(bit << place for place, bit in enumerate(came[1:9]))
        fits = not checked or sum(came[1:10]) % 2 == (parity is Parity.ODD)
        expected = (None, False) if came[0] else (value, not (fits and came[-1]))
        line = Scripted([*wrong, *(each + bits for each in wrong)], Framing(9_600, 8, parity))
        assert [line.hear(0x55) for _ in range(3)] == [expected, expected, (0x55, False)], wrong
