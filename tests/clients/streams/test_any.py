"""One program, many protocols: demo_site/clients/any.bas under PC-BASIC is the same text each time, and what
is typed differs in the name alone.
"""

from collections.abc import Iterator
from itertools import chain
from pathlib import Path

import pytest

from demo_site.areas.running import FOLDERS
from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from tests.clients.programs import CLIENTS
from tests.clients.streams.boards import Board, board
from tests.clients.streams.typing import at_pcbasic
from tests.clients.test_pcbasic import needs_pcbasic

ANY = (CLIENTS / "any.bas").read_text("ascii")
FILES = FOLDERS.parent / "files"
SAID = ("MEG", "ANY SHIPS?", "", "BYE")
"""What is typed after each name, a line wherever the program asks for one."""
PAGE = 15  # records, as the program has it


@pytest.fixture(scope="module")
def far() -> Iterator[tuple[Board, int]]:
    with board() as made:
        yield made


@pytest.fixture(scope="module")
def gateway(
    far: tuple[Board, int], gateway_config: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Gateway]:
    """The demo's catalogue, and a notice board that talks, by bare TCP and by telnet."""
    text = gateway_config.read_text(encoding="utf-8")
    for name, scheme in (("board", "tcp"), ("pier", "telnet")):
        text += f'\n[place.{name}]\nbase = "{scheme}://127.0.0.1:{far[1]}"\n'
    with Stage(Path(), lambda: tmp_path_factory.mktemp("headrace")) as stage:
        yield stage.gateways(text)


def shown(gateway: Gateway, folder: Path, name: str) -> list[str]:
    """The screen's lines, after this name and then SAID were typed."""
    with at_pcbasic(ANY, gateway.port, folder) as user:
        user.see("NAME? ")
        user.type("".join(f"{line}\r" for line in (name, *SAID)))
        first, *lines = user.end().split("\r\n")
    assert first == f"NAME? {name}"
    assert lines[-2:] == ["END", ""]
    return [line.rstrip() for line in lines[:-2]]


def paged(lines: list[str]) -> list[str]:
    """A text as the program shows it: a line of SAID is typed, and shown, after each page but the last."""
    pages = [lines[start : start + PAGE] for start in range(0, len(lines), PAGE)]
    asked = [[f"> {said}".rstrip()] for said in SAID]
    return [*pages[0], *chain.from_iterable(chain.from_iterable(zip(asked, pages[1:], strict=False)))]


@needs_pcbasic
@pytest.mark.parametrize("name", ["BOARD:", "PIER:"])
def test_a_service_that_talks(gateway: Gateway, far: tuple[Board, int], tmp_path: Path, name: str) -> None:
    calls = len(far[0].got)
    assert shown(gateway, tmp_path, name) == [
        "HARBOUR BOARD",
        "",
        "NAME?",
        "> MEG",
        "GOOD DAY, MEG",
        ">",
        "> ANY SHIPS?",
        "YOU SAID ANY SHIPS?",
        ">",
        ">",  # an empty line only asks
        "> BYE",
        "",
        "FAIR WINDS",
    ]
    assert far[0].got[calls:] == [b"MEG\r\nANY SHIPS?\r\nBYE\r\n"]


@needs_pcbasic
def test_the_demos_own_service(gateway: Gateway, tmp_path: Path) -> None:
    assert shown(gateway, tmp_path, "STATION:") == [
        "Gullmarrow signal station (invented)",
        "SHIPS, WIND or BYE",
        "STATION>",
        "> MEG",
        "The station knows SHIPS, WIND and BYE",
        "STATION>",
        "> ANY SHIPS?",
        "The station knows SHIPS, WIND and BYE",
        "STATION>",
        ">",
        "> BYE",
        "Fair winds",
    ]


@needs_pcbasic
@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("SITE:library/songs/capstan.txt", FILES / "library/songs/capstan.txt"),  # HTTP
        ("QUAY:README.txt", FOLDERS / "quay/README.txt"),  # FTP
        ("LEDGER:entries/coal.txt", FOLDERS / "ledger/entries/coal.txt"),  # WebDAV
        ("SHELF:books/knots.txt", FOLDERS / "shelf/books/knots.txt"),  # a folder of the gateway's
    ],
)
def test_a_document(gateway: Gateway, tmp_path: Path, name: str, path: Path) -> None:
    text = path.read_text("ascii").splitlines()
    assert shown(gateway, tmp_path, name) == paged(wrapped(text))


def wrapped(lines: list[str]) -> list[str]:
    """In 40 columns, a line broken at its last blank that is in time: worked out here by the plain rule."""
    records = []
    for line in lines:
        rest = line
        while len(rest) > 40:
            cut = rest.rfind(" ", 0, 41)
            records.append(rest[:cut].rstrip())
            rest = rest[cut:].lstrip()
        records.append(rest)
    return records


@needs_pcbasic
def test_what_is_not_there(gateway: Gateway, tmp_path: Path) -> None:
    assert shown(gateway, tmp_path, "QUAY:no-such.txt") == ["Not there"]
    assert shown(gateway, tmp_path, "NOWHERE:") == ["No place NOWHERE"]


def test_the_program_has_no_name_in_it_and_is_short() -> None:
    lines = ANY.splitlines()
    assert len(lines) <= 12
    assert max(map(len, lines)) <= 255
    assert "invented" in lines[0]
    told = "\n".join(lines[1:]).upper()
    assert not [each for each in ("STATION", "LIBRARY", "QUAY", "LEDGER", "SHELF", "://") if each in told]
