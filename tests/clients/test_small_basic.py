"""The shortest BASIC client, demo_site/clients/tides-short.bas, run under PC-BASIC against the gateway."""

from pathlib import Path

from tests.clients.listings import shapes
from tests.clients.listings.basics import pcbasic
from tests.clients.programs import CLIENTS, asking
from tests.clients.test_pcbasic import needs_pcbasic

PROGRAM = "tides-short.bas"
TIDES = [" ".join(value for _, value in record) for record in shapes.tides()]


@needs_pcbasic
def test_prints_the_tides(gateway_port: int, tmp_path: Path) -> None:
    printed = pcbasic((CLIENTS / PROGRAM).read_text("ascii"), gateway_port, tmp_path)
    assert [line for line in printed if line] == [*TIDES, "END OF TIDES"]


@needs_pcbasic
def test_prints_an_error(gateway_port: int, tmp_path: Path) -> None:
    printed = pcbasic(asking(PROGRAM, "ASK TIDES NOWHERE"), gateway_port, tmp_path)
    code, sentence, sentinel = [line.rstrip() for line in printed if line]
    assert code == "ERROR 501"
    assert sentence.startswith("STATION is one of")
    assert sentinel == "END OF TIDES"


def test_has_seven_lines() -> None:
    """And each is within the 255 characters of a GW-BASIC line (from memory of its manual)."""
    lines = (CLIENTS / PROGRAM).read_text("ascii").splitlines()
    assert len(lines) == 7
    assert max(map(len, lines)) <= 255
