"""What a modem's program may dial, and how often: its listener's rights, since it cannot log in."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.testing.stage import Stage
from tests.gateway.service.modems.test_line import Program
from tests.gateway.service.streams.far_ends import board, far_end

TEXT = """[[listen]]
port = 1
speaks = "modem"
rights = "guests"
[rights.guests]
places = ["shelf"]
streams = ["board"]
{limit}
[place.board]
base = "tcp://127.0.0.1:{port}"
[place.other]
base = "tcp://127.0.0.1:{port}"
[place.shelf]
base = "file://{folder}/"
[place.attic]
base = "file://{folder}/"
[phone.5550100]
dial = "other"
"""


@pytest.fixture
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as made:
        yield made


def program(stage: Stage, port: int, folder: Path) -> Program:
    made = Program(stage.gateways(TEXT.format(port=port, folder=folder, limit="")))
    made.command(b"ATE0", b"OK")
    return made


def test_what_may_be_dialled(stage: Stage, tmp_path: Path) -> None:
    """A name, its number, and a counter; what was not allowed makes no connection."""
    calls: list[int] = []

    async def counted(reader: object, writer: object) -> None:
        calls.append(1)
        await board(reader, writer)  # type: ignore[arg-type]

    with far_end(counted) as port:
        made = program(stage, port, tmp_path)
        for dial in (b"ATDother", b"ATD5550100", b"ATDattic", b"ATDtcp://127.0.0.1:%d" % port):
            made.command(dial, b"NO CARRIER")
        assert not calls
        made.command(b"ATDboard", b"CONNECT 9600")
        made.wait_for(b"name: ")
        made.line.close()
        made = program(stage, port, tmp_path)
        made.command(b"ATDshelf", b"CONNECT 9600")
        made.line.close()


def test_how_often(stage: Stage, tmp_path: Path) -> None:
    """A call is a request of the address's account; more than it may ask are refused."""
    with far_end(board) as port:
        gateway = stage.gateways(TEXT.format(port=port, folder=tmp_path, limit="requests = 2"))
        for result in (b"CONNECT 9600", b"CONNECT 9600", b"NO CARRIER"):
            made = Program(gateway)
            made.command(b"ATDboard", result)
            made.line.close()


def test_how_much(stage: Stage, tmp_path: Path) -> None:
    """All bytes count, the program's own commands too."""
    with far_end(board) as port:
        gateway = stage.gateways(TEXT.format(port=port, folder=tmp_path, limit="bytes = 100"))
        made = Program(gateway)
        made.command(b"ATDboard", b"CONNECT 9600")
        made.type(b"x" * 100 + b"\r\n")
        made.wait_for(b"next: ")
        made.line.close()
        made = Program(gateway)
        made.command(b"ATDboard", b"NO CARRIER")
        made.line.close()
