"""Z80 programs for any task: what they look like, that pasmo takes them, and that they show what was sent."""

import re
import shutil
import string
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.errors import NotPossible
from gateway.extract.plan import Kind
from gateway.listings.assembly.z80 import Z80
from gateway.listings.program import Column, Task, Writer
from gateway.listings.writers import WRITERS
from gateway.wire.charsets import encode_text
from gateway.wire.checks import digits
from gateway.wire.ready import READY
from gateway.wire.settings import CHECK_WIDTHS, Settings
from tests.machines.far import ENDS
from tests.machines.patient import Patient
from tests.machines.uart import Line
from tests.machines.z80_machine import CLOCK, Machine, assemble

needs_pasmo = pytest.mark.skipif(
    shutil.which("pasmo") is None, reason="PASMO IS MISSING: Z80 programs not built (apt-get install pasmo)"
)
NAMES = st.text(string.ascii_uppercase + string.digits + "-", min_size=1, max_size=12)
ARG_NAMES = st.text(string.ascii_letters + "_", min_size=1, max_size=60)
PRINTABLE = st.characters(min_codepoint=0x20, max_codepoint=0x7E)


@st.composite
def settings_made(draw: st.DrawFn) -> Settings:
    bits = draw(st.sampled_from([7, 8]))
    return Settings(
        most=255,
        eol=draw(st.sampled_from([each for each in ENDS if bits == 8 or each != "9b"])),
        charset=draw(st.sampled_from(["ascii", "latin1", "cp437", "caseswap"])),
        bits=bits,
        mark=draw(st.booleans()),
        page=draw(st.sampled_from([0, 3])),
        window=draw(st.sampled_from([0, 1, 2, 3, 255, 256, 70_000, 99_999])),
        pace=draw(st.sampled_from([0, 10, 100])),
        gap=draw(st.sampled_from([0, 200, 10_000])),
        check=draw(st.sampled_from(list(CHECK_WIDTHS))),
    )


@st.composite
def tasks(draw: st.DrawFn) -> Task:
    made = draw(settings_made())
    room = 255 - made.added
    columns: list[Column] = []
    start = 1 + made.mark
    gap = draw(st.integers(0, 3))
    for kind in draw(st.lists(st.sampled_from(Kind), min_size=1, max_size=30)):
        left = room + made.mark - start + 1
        if left < 1:
            break
        width = draw(st.integers(1, min(left, draw(st.sampled_from([3, 12, 250])))))
        columns.append(Column(draw(NAMES), start, width, kind))
        start += width + gap
    last = columns[-1]
    return Task(
        source=draw(NAMES),
        about=draw(st.text(max_size=100)),
        args=tuple(draw(st.lists(st.tuples(ARG_NAMES, st.text(PRINTABLE, max_size=30)), max_size=4))),
        columns=tuple(columns),
        width=last.start + last.width - 1 + CHECK_WIDTHS[made.check],
        setup=draw(
            st.sampled_from(["", "SET polled", "SET buffer-256 eol=cr mark=on check=crc window=3 pace=100"])
        ),
        settings=made,
        changes=draw(st.booleans()),
    )


def bytes_of(text: str, label: str, until: str) -> bytes:
    """What the DB lines from one label up to another say."""
    part = text[text.index(f"\n{label}:") : text.index(f"\n{until}:")]
    found = b""
    for line in part.splitlines():
        code = re.match(r"(?:[A-Z0-9]+:)? +DB (.*)", line)
        for item in re.findall(r"'([^']*)'|(\d+)", code[1]) if code else []:
            found += item[0].encode("ascii") if item[0] else bytes([int(item[1])])
    return found


def test_it_is_offered() -> None:
    writer: Writer = WRITERS["z80"]
    assert isinstance(writer, Z80)
    assert writer.setup.upper() in READY


@pytest.mark.parametrize("made", [Settings(echo=True), Settings(charset="cp037")])
def test_what_it_could_not_follow_is_refused(made: Settings) -> None:
    # cp037 is an installed codec of Python's in which a blank is 40h and the digits are F0h to F9h.
    task = Task("ONE", "", (), (Column("A", 1, 5, Kind.TEXT),), 5, "", made)
    with pytest.raises(NotPossible):
        Z80().write(task)


@given(tasks())
def test_its_lines_fit_and_are_plain(task: Task) -> None:
    text = Z80().write(task)
    assert text.isascii()
    assert text.endswith("\n")
    lines = text.split("\n")
    assert max(map(len, lines)) <= 40
    assert all(line.isprintable() and line == line.rstrip() for line in lines)


@given(tasks())
def test_its_heading_is_in_small_letters_to_its_end(task: Task) -> None:
    heading = Z80().write(replace(task, about="")).partition("\n;\n; ==")[0].split("Asks", 1)[-1]
    assert heading.count("Call its first byte; RET ends it.") == 1
    assert ("It changes something" in heading) == task.changes
    assert max(map(len, re.findall("[A-Z]+", heading.replace(task.source, "")))) <= len("RET")


@given(tasks())
def test_its_columns_are_the_tasks(task: Task) -> None:
    text = Z80().write(task)
    expected = b"".join(
        bytes([each.start - 1, each.width]) + encode_text(f"{each.name}: ", task.settings.printed) + b"\0"
        for each in task.columns
    )
    assert bytes_of(text, "FIELDS", "MORE") == expected + b"\0\0"


@given(tasks())
def test_what_it_asks_stands_at_the_top(task: Task) -> None:
    text = Z80().write(task)
    asked = bytes_of(text, "WORDS", "START")
    assert asked.startswith(encode_text(task.request, task.settings.printed))
    assert ("SETUP:" in text) == bool(task.setup)
    assert text.index("WORDS:") < text.index("START:")


RECORDS = st.lists(st.text(PRINTABLE, min_size=255, max_size=255), max_size=6)


class Made:
    """Answers as a gateway would whose source has these records."""

    def __init__(self, task: Task, records: list[str]) -> None:
        self.asked: list[bytes] = []
        self._task = task
        self._records = records
        self._place = 0
        self._left: list[bytes] = []

    def reply(self, line: bytes) -> list[bytes]:
        made = self._task.settings
        if line:
            self.asked.append(line)
            if not line.upper().startswith(b"SET"):
                self._left = self._page()
            else:
                self._left = [self._line("200 00000 000 ..")]
        window = made.window or len(self._left)
        lines, self._left = self._left[:window], self._left[window:]
        return lines

    def _page(self) -> list[bytes]:
        size = self._task.settings.page or len(self._records)
        shown = self._records[self._place : self._place + size]
        self._place += size
        more = "+" if self._place < len(self._records) else "."
        width = self._task.width if shown else 0
        return [self._line(each) for each in (f"200 {len(shown):05} {width:03} {more}.", *shown)]

    def _line(self, text: str) -> bytes:
        made = self._task.settings
        data = encode_text(text, made.printed)
        if made.check != "none":
            data += encode_text(digits(data, made.check), made.printed)
        if made.bits == 7:
            data = bytes(each | 0x80 * (each.bit_count() % 2) for each in data)  # even parity in bit 7
        return data + ENDS[made.eol]


@needs_pasmo
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tasks(), RECORDS)
def test_it_shows_what_was_sent(tmp_path: Path, task: Task, texts: list[str]) -> None:
    width = task.width - CHECK_WIDTHS[task.settings.check]
    records = [text[:width] for text in texts]
    far = Made(task, records)
    machine = Machine(assemble(Z80().write(task), tmp_path), Patient(Line(), CLOCK, far))
    printed = "\n".join(machine.run())
    lines = [
        f"{column.name}: {record[column.start - 1 :][: column.width]}"
        for record in records
        for column in task.columns
    ]
    expected = "\n".join(lines)
    assert printed.replace("\n\n", "\n") == shown(expected, task)
    words = far.asked[bool(task.setup)].split(b" *")[0]
    assert words.startswith(encode_text(task.request, task.settings.printed))


def shown(text: str, task: Task) -> str:
    """As the machine's screen has it, END after it."""
    made = task.settings
    whole = f"{text}\nEND" if text else "END"
    return "\n".join(encode_text(line, made.printed).decode("latin1") for line in whole.split("\n"))
