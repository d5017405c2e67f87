"""6502 programs for any task: what they look like, that ca65 takes them, and that they show what was sent."""

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from adapters.errors import NotPossible
from gateway.extract.plan import Kind
from gateway.listings.assembly.mos6502 import Mos6502, data
from gateway.listings.program import Column, Task, Writer
from gateway.listings.writers import WRITERS
from gateway.wire.charsets import encode_text
from gateway.wire.ready import READY
from gateway.wire.settings import CHECK_WIDTHS, Settings
from tests.gateway.listings.assembly.test_z80 import RECORDS, Made, shown, tasks
from tests.machines.mos6502 import CLOCK, Machine, assemble
from tests.machines.uart import Brimming

needs_assembler = pytest.mark.skipif(
    shutil.which("ca65") is None, reason="CA65 IS MISSING: 6502 programs not built (apt-get install cc65)"
)


def test_it_is_offered() -> None:
    writer: Writer = WRITERS["6502"]
    assert isinstance(writer, Mos6502)
    assert writer.setup.upper() in READY


@pytest.mark.parametrize("made", [Settings(echo=True), Settings(charset="cp037")])
def test_what_it_could_not_follow_is_refused(made: Settings) -> None:
    # cp037 is an installed codec of Python's in which a blank is 40h and the digits are F0h to F9h.
    with pytest.raises(NotPossible):
        Mos6502().write(Task("ONE", "", (), (Column("A", 1, 5, Kind.TEXT),), 5, "", made))


@given(tasks())
def test_its_lines_fit_and_are_plain(task: Task) -> None:
    text = Mos6502().write(task)
    assert text.isascii()
    assert text.endswith("\n")
    lines = text.split("\n")
    assert max(map(len, lines)) <= 40
    assert all(line.isprintable() and line == line.rstrip() for line in lines)


def test_texts_become_bytes() -> None:
    """A quote would end a string of ca65's, and a semicolon looks like a comment."""
    assert data('A;"', "ascii") == [' .byte "A",$3B,$22,0']
    assert data("Ab", "caseswap") == [' .byte "aB",0']
    assert data("", "ascii") == [" .byte 0"]
    assert data("X" * 24, "ascii") == [' .byte "' + "X" * 22 + '"', ' .byte "XX",0']


def test_the_machines_part_comes_first_and_what_is_asked_next() -> None:
    columns = (Column("TIME", 1, 5, Kind.TIME), Column("METRES", 12, 6, Kind.FIXED))
    text = Mos6502().write(Task("TIDES", "Tides", (("station", "MOLE"),), columns, 17, "", Settings()))
    heads = [line for line in text.splitlines() if line.startswith("; ----")]
    assert heads[:3] == [
        "; ---- change this for your machine ----",
        "; ---- end of the machine's part ----",
        "; ---- what to ask ----",
    ]
    assert 'arg1:                 ; STATION\n         .byte "MOLE",0\n' in text
    assert '         .byte "METRES",0\n         .byte 11,6\n' in text
    machine = text[: text.index(heads[1])]
    assert {"STATUS", "DATA", "CHROUT"} & set(text[len(machine) :].replace(",", " ").split()) == set()


@needs_assembler
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tasks(), RECORDS)
def test_it_shows_what_was_sent(tmp_path: Path, task: Task, texts: list[str]) -> None:
    width = task.width - CHECK_WIDTHS[task.settings.check]
    records = [text[:width] for text in texts]
    far = Made(task, records)
    machine = Machine(assemble(Mos6502().write(task), tmp_path), Brimming(CLOCK, far))
    printed = "\n".join(machine.run())
    lines = [
        f"{column.name}: {record[column.start - 1 :][: column.width]}"
        for record in records
        for column in task.columns
    ]
    assert printed.replace("\n\n", "\n") == shown("\n".join(lines), task)
    words = far.asked[bool(task.setup)].split(b" *")[0]
    assert words.startswith(encode_text(task.request, task.settings.printed))
