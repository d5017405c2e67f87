"""What lies between gateway and program, where it makes sense."""

import pytest

from adapters import limits
from adapters.errors import WrongWords
from gateway.serial.framing import Framing
from gateway.serial.way import Link, Noise, Way
from gateway.wire.settings import Settings


@pytest.mark.parametrize(("latency", "adapter"), [(-0.1, 1), (61, 1), (0, 0), (0, 1 << 30)])
def test_links_that_make_no_sense_are_refused(latency: float, adapter: int) -> None:
    with pytest.raises(WrongWords):
        Link(latency, adapter)


@pytest.mark.parametrize("rate", [-0.1, 0.6, float("nan")])
def test_a_rate_is_a_probability_of_error(rate: float) -> None:
    """Half of the bits wrong is no information at all (Shannon); more is a line with its wires crossed."""
    with pytest.raises(WrongWords):
        Noise(rate)


def test_nine_b_needs_eight_bits() -> None:
    assert Way(Framing(300), settings=Settings(eol="9b"))
    with pytest.raises(WrongWords, match="8 data bits"):
        Way(Framing(300, 7), settings=Settings(eol="9b"))


@pytest.mark.parametrize("grain", [-1, 1.5])
def test_the_gateway_looks_often_enough(grain: float) -> None:
    with pytest.raises(WrongWords):
        Way(Framing(300), grain_seconds=grain)


def test_what_fits_between_gateway_and_line_is_what_the_service_lets_in() -> None:
    """What the kernel keeps unsent for a client that may ask to wait, and 256 (common practice)."""
    assert Link().adapter_bytes == limits.METERED_BYTES + 256
