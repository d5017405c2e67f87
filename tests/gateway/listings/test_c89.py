"""C89 programs for any task: how they look, that compilers take them, that they show what was sent."""

import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from adapters.errors import NotPossible
from gateway.extract.plan import Kind
from gateway.listings.c89 import C89
from gateway.listings.program import Column, Task, Writer
from gateway.listings.writers import WRITERS
from gateway.wire.charsets import encode_text
from gateway.wire.ready import READY
from gateway.wire.settings import CHECK_WIDTHS, Settings
from tests.clients.listings.compiling import compiled
from tests.gateway.listings.assembly.test_z80 import RECORDS, Made, shown, tasks
from tests.machines.mos6502 import CLOCK, Machine
from tests.machines.uart import Brimming

ONE = (Column("A", 1, 5, Kind.TEXT),)


def test_it_is_offered() -> None:
    writer: Writer = WRITERS["c89"]
    assert isinstance(writer, C89)
    assert writer.setup.upper() in READY


@pytest.mark.parametrize("made", [Settings(echo=True), Settings(charset="cp037")])
def test_what_it_could_not_follow_is_refused(made: Settings) -> None:
    # cp037 is an installed codec of Python's in which a blank is 40h and the digits are F0h to F9h.
    with pytest.raises(NotPossible):
        C89().write(Task("ONE", "", (), ONE, 5, "", made))


@given(tasks())
def test_its_lines_fit_and_are_plain(task: Task) -> None:
    text = C89().write(task)
    assert text.isascii()
    assert text.endswith("\n")
    lines = text.split("\n")
    assert max(map(len, lines)) <= 40
    assert all(line.isprintable() and line == line.rstrip() for line in lines)
    assert "??" not in text  # a trigraph is replaced even within a string (ISO/IEC 9899:1990, 5.2.1.1)


def test_what_is_about_cannot_end_the_comment() -> None:
    text = C89().write(Task("ONE", "*/ /* \\", (), ONE, 5, "", Settings()))
    assert text.startswith("/* ONE: * / / * /\n")


def test_texts_are_string_literals() -> None:
    args = (("who", 'a "\\?'),)
    text = C89().write(Task("ONE", "", args, ONE, 5, "", Settings(charset="caseswap")))
    assert '/* WHO */\nstatic const char arg1[] =\n  "\\042A \\042\\042\\134\\077\\042";\n' in text
    assert 'show_text("error ");' in text


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tasks())
def test_gcc_finds_nothing_to_warn_of(tmp_path: Path, task: Task) -> None:
    """Where there is a gcc; its `-std=c89 -pedantic` is ISO/IEC 9899:1990."""
    if shutil.which("gcc") is None:
        return
    (tmp_path / "FILE.c").write_text(C89().write(task), "ascii")
    command = ["gcc", "-std=c89", "-pedantic", "-Wall", "-Wextra", "-Werror", "-fsyntax-only", "FILE.c"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(
    shutil.which("cc65") is None, reason="CC65 IS MISSING: C programs not built (apt-get install cc65)"
)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tasks(), RECORDS)
def test_it_shows_what_was_sent(tmp_path: Path, task: Task, texts: list[str]) -> None:
    width = task.width - CHECK_WIDTHS[task.settings.check]
    records = [text[:width] for text in texts]
    far = Made(task, records)
    machine = Machine(compiled(task, tmp_path), Brimming(CLOCK, far))
    printed = "\n".join(machine.run())
    lines = [
        f"{column.name}: {record[column.start - 1 :][: column.width]}"
        for record in records
        for column in task.columns
    ]
    assert printed.replace("\n\n", "\n") == shown("\n".join(lines), task)
    words = far.asked[bool(task.setup)].split(b" *")[0]
    assert words.startswith(encode_text(task.request, task.settings.printed))
