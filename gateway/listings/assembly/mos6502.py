"""Task -> a 6502 program for the assembler ca65 and the linker ld65.

The program polls a memory-mapped UART. What belongs to a machine stands in one place at its top: the
UART's addresses and bits, and the three routines that take a byte, send a byte and show a character.
Numbers of records are kept as the five digits that they come and go as. A reply's lines are put together
from parts, so that a program holds only what its settings need: windows, checks and line ends each have
their own.
"""

import re
import textwrap
from typing import Final

from adapters import limits
from gateway.listings.assembly import mos6502_check as checking
from gateway.listings.assembly import mos6502_parts as parts
from gateway.listings.assembly import mos6502_reply as reply
from gateway.listings.charset import check_encoded
from gateway.listings.program import Task, check_unechoed
from gateway.wire.charsets import encode_text
from gateway.wire.settings import CHECK_WIDTHS, Settings

_COMMENT: Final = 22  # column of a comment after an instruction, from 0
_COLUMNS: Final = limits.LISTING_COLUMNS
_REMARK: Final = _COLUMNS - _COMMENT - 2
_ROOM: Final = _COLUMNS - len("         .byte ")
_PLAIN: Final = re.compile(
    rb"[ !#-:<-~]{1,22}"
)  # no quote, which ends a string, nor what looks like a comment
_PIECES: Final = re.compile(_PLAIN.pattern + rb"|[\x00-\xff]")


class Mos6502:
    """The writer for `--for 6502`."""

    name = "6502"
    about = "6502 assembly for ca65 and ld65; a UART in memory, polled"
    suffix = ".s"
    setup = "polled"

    def write(self, task: Task) -> str:
        """The whole program. NotPossible where its letters are not ASCII's, or come back as an echo."""
        settings = task.settings
        check_unechoed(settings)
        check_encoded(task, self.name)
        checked = settings.check != "none"
        counted = settings.eol == "none" or checked
        windowed = settings.window > 0
        doubtful = checked and settings.window != 1
        added = CHECK_WIDTHS[settings.check]
        mask = "\n and #$7F ; bit 7 is parity" if settings.bits == 7 else ""
        blocks = [
            _heading(task),
            parts.machine(checked=checked),
            checking.take(settings, mask) if checked else parts.TAKE.format(mask=mask),
            parts.PUT,
            _questions(task),
            parts.BEGIN + (checking.TRIES if checked else ""),
            parts.setup(checked=checked) if task.setup else "",
            _asking(task),
            reply.page(checked=checked, counted=counted, windowed=windowed, doubtful=doubtful),
            reply.status(settings, counted=counted),
            checking.retry(settings.check, changes=task.changes, windowed=windowed, doubtful=doubtful)
            if checked
            else "",
            reply.finish(added=added, windowed=windowed, counted=counted),
            parts.SHOW,
            parts.getline(settings.eol, checked=checked),
            parts.send(checked=checked),
            parts.put_end(windowed=windowed, checked=checked),
            parts.WIDTH if counted else "",
            parts.DIGITS,
            parts.count_up("next", "onenext") if checked else "",
            parts.window() if windowed else "",
            'one: .byte "00001"' if checked or windowed else "",
            checking.verify(settings.check, encode_text("A", settings.printed)[0]),
            _variables(settings, checked=checked, counted=counted),
        ]
        return "\n".join(_arranged(each) for each in blocks if each)


def _heading(task: Task) -> str:
    lines = [
        *textwrap.wrap(_plain(f"{task.source}: {task.about}"), _COLUMNS - 2),
        "",
        *textwrap.wrap("Asks a headrace gateway and shows the records. To assemble and link:", _COLUMNS - 2),
        "  ca65 FILE.s",
        "  ld65 -t none -o FILE FILE.o",
        *textwrap.wrap(
            "FILE is loaded at $1000 (-S gives ld65 another address) and called there; RTS ends it. It uses "
            "page 0 from $80 to $83.",
            _COLUMNS - 2,
        ),
    ]
    return "\n".join(f"; {each}".rstrip() for each in lines)


def _plain(text: str) -> str:
    """As it may stand in a comment."""
    return re.sub("[^ -~]", "?", " ".join(text.split()))


def _questions(task: Task) -> str:
    charset = task.settings.printed
    lines = ["; ---- what to ask ----"]
    if task.setup:
        lines += ["setup:", *data(task.setup, charset)]
    lines += ["ask:", *data(task.request + (" " if task.args else ""), charset)]
    for place, (name, value) in enumerate(task.args, 1):
        lines += [f"arg{place}: ; {name.upper()[:_REMARK]}".rstrip(), *data(_word(value), charset)]
    lines += ["more:", *data("MORE", charset)]
    if task.settings.check != "none":
        lines += ["again:", *data("AGAIN", charset)]
    if task.settings.window:
        lines += ["lines: ; in a window", f' .byte "{task.settings.window:05}"']
    lines += ["wrong:", *data("ERROR ", charset), "last:", *data("END", charset)]
    lines += ["; name, first column from 0, columns", "fields:"]
    for column in task.columns:
        lines += [*data(column.name, charset), f" .byte {column.start - 1},{column.width}"]
    return "\n".join([*lines, " .byte 0 ; no more"])


def _word(value: str) -> str:
    """An arg as a word of a request (CONTRACT section 1)."""
    if value and " " not in value and value[0] not in "\"'":
        return value
    return '"' + value.replace('"', '""') + '"'


def data(text: str, charset: str) -> list[str]:
    """`.byte` lines for a text as the line and the screen have it, and a zero after it."""
    pieces = [
        f'"{part.decode("ascii")}"' if _PLAIN.fullmatch(part) else f"${part[0]:02X}"
        for part in _PIECES.findall(encode_text(text, charset))
    ]
    lines = [""]
    for piece in [*pieces, "0"]:
        if lines[-1] and len(lines[-1]) + 1 + len(piece) <= _ROOM:
            lines[-1] += "," + piece
        elif lines[-1]:
            lines.append(piece)
        else:
            lines[-1] = piece
    return [f" .byte {each}" for each in lines]


def _asking(task: Task) -> str:
    checked = task.settings.check != "none"
    begun = ["question:", " ldx #<question", " ldy #>question", " jsr request"] if checked else []
    lines = ["; the question"]
    if checked and task.setup and task.settings.window and task.changes:
        lines.append(" jsr putend ; SET is over")
    lines += [*begun, *_call("ask")]
    for place in range(1, len(task.args) + 1):
        if place > 1:
            lines += [" lda #' '", f" jsr {'putsum' if checked else 'putbyte'}"]
        lines += _call(f"arg{place}")
    return "\n".join([*lines, f" jsr {'putcheck' if checked else 'putend'}"])


def _call(label: str) -> list[str]:
    return [f" lda #<{label}", f" ldy #>{label}", " jsr puttext"]


def _variables(settings: Settings, *, checked: bool, counted: bool) -> str:
    lines = ["; ---- variables ----", " .bss", "keepx: .res 1", "keepy: .res 1"]
    lines += ["field: .res 1 ; columns to show", "len: .res 1 ; of buffer", "follow: .res 1 ; +: more pages"]
    lines.append("left: .res 5 ; records to come")
    if settings.window:
        lines.append("sofar: .res 5 ; lines of window")
    if counted:
        lines += ["want: .res 1 ; line's length", "width: .res 1 ; record's length"]
    if checked:
        lines += ["next: .res 5 ; record, from 1", "open: .res 1 ; 1: page began", "tries: .res 1"]
        lines += ["stop: .res 1 ; check begins", "sum: .res 2", "idle: .res 3"]
        lines.append("patient: .res 2 ; limit of idle")
        if settings.window != 1:
            lines += ["fresh: .res 1", "doubt: .res 1 ; 2: after MORE", "first: .res 2 ; record's check"]
        if not settings.window:
            lines.append("alone: .res 1 ; of AGAIN n")
    return "\n".join([*lines, "buffer: .res 256"])


def _arranged(block: str) -> str:
    """Labels, instructions and comments in their columns; lines that are only a comment stay."""
    lines = []
    for line in block.splitlines():
        if line.startswith(";"):
            lines.append(line)
            continue
        code, _, comment = line.partition(" ; ")
        label, _, rest = code.partition(" ") if not code.startswith(" ") else ("", "", code[1:])
        code = f"{label:8} {rest}".rstrip()
        lines.append(f"{code + ' ':{_COMMENT}}; {comment}".rstrip() if comment else code)
    return "".join(line + "\n" for line in lines)
