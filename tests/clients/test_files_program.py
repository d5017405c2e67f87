"""The GW-BASIC program that works with files does the same over FTP, WebDAV and on a folder on disk.

It runs under PC-BASIC; between the runs, one name in its text changes. What it prints is held against the
originals on disk, and what it stored against its own DATA.
"""

import re
from pathlib import Path

import pytest

from demo_site.areas.running import EMPTY, FOLDERS, MODIFIED, DemoAreas
from tests.clients.listings.basics import pcbasic
from tests.clients.programs import CLIENTS
from tests.clients.test_pcbasic import needs_pcbasic

PROGRAM = "files.bas"
PLACES = ("QUAY", "LEDGER", "SHELF")
NOTE = ["A note from a small machine:", "the tide is in, the cat is out,", ". and dots are no end in here."]
_ENTRY = re.compile(r" {3}([1-9]) ([FD]) ([ 0-9]{9}) (\d{4}-\d\d-\d\d) (.{12})")


def program(place: str) -> str:
    """The program's text with another place's name in it."""
    text = (CLIENTS / PROGRAM).read_text("ascii")
    assert text.count('P$="QUAY"') == 1
    return text.replace('P$="QUAY"', f'P$="{place}"')


def sections(printed: list[str]) -> dict[str, list[str]]:
    """What stands under each `---` heading; a heading that says MORE begins none."""
    found: dict[str, list[str]] = {}
    name = ""
    for line in printed:
        if line.startswith("--- ") and line.rstrip() != "--- MORE":
            name = line.removeprefix("--- ").rstrip()
            found[name] = []
        elif name:
            found[name].append(line)
    return found


@needs_pcbasic
@pytest.mark.parametrize("place", PLACES)
def test_it_lists_reads_and_stores_alike(
    place: str, gateway_port: int, demo_areas: DemoAreas, tmp_path: Path
) -> None:
    home, seeds = demo_areas.folder / place.lower(), FOLDERS / place.lower()
    printed = pcbasic(program(place), gateway_port, tmp_path)
    found = sections(printed)
    assert list(found) == ["FOLDER", "TEXT", "STORE", "STORED"], printed
    assert not [line for line in printed if line.startswith("ERROR")]

    # CONTRACT section 3: number(4) kind(1) size(9) date(10) name, of which 40 columns show 12 characters.
    entries = [_ENTRY.fullmatch(line) for line in found["FOLDER"] if line]
    assert all(entries), found["FOLDER"]
    kinds = {each[5].rstrip(): (each[2], each[3].strip(), each[4]) for each in entries if each}
    day = MODIFIED.date().isoformat()
    assert kinds["README.txt"] == ("F", str((seeds / "README.txt").stat().st_size), day)
    folders = {path.name for path in seeds.iterdir() if path.is_dir()} | (
        {EMPTY} if place == "QUAY" else set()
    )
    assert {name for name, (kind, _, _) in kinds.items() if kind == "D"} == folders
    assert len(kinds) == len(list(seeds.iterdir())) + (place == "QUAY")

    # The text comes wrapped to 40 columns and in pages of ten; its words are those of the file.
    pages = [index for index, line in enumerate(found["TEXT"]) if line.rstrip() == "--- MORE"]
    assert pages
    assert pages[0] == 10
    text = [line for index, line in enumerate(found["TEXT"]) if index not in pages]
    assert max(map(len, text)) <= 40
    assert " ".join(text).split() == (seeds / "README.txt").read_text("ascii").split()

    # What was stored is there, by the server's own disk and by way of the gateway.
    assert (home / "note.txt").read_bytes() == "".join(line + "\n" for line in NOTE).encode()
    assert [line.rstrip() for line in found["STORED"] if line and "END" not in line] == NOTE
    assert printed[-1 if printed[-1] else -2].rstrip() == "END OF FILES"


@needs_pcbasic
def test_it_says_what_goes_wrong_and_ends(gateway_port: int, tmp_path: Path) -> None:
    printed = [line.rstrip() for line in pcbasic(program("NOWHERE"), gateway_port, tmp_path)]
    assert [line for line in printed if line.startswith("ERROR 5")]
    assert "END OF FILES" in printed


def test_the_program_is_short_and_takes_a_classic_line() -> None:
    """At most 40 lines, each within the 255 characters of a GW-BASIC line (from memory of its manual)."""
    lines = (CLIENTS / PROGRAM).read_text("ascii").splitlines()
    numbers = [int(line.split()[0]) for line in lines]
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 255
    assert numbers == sorted(set(numbers))
    assert "invented" in lines[0]
