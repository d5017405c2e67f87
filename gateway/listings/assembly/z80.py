"""Task -> a Z80 program in the syntax of pasmo, for a serial chip at two ports that the program polls.

Counts are kept as the five digits that the gateway sends, since 99,999 is more than sixteen bits hold. A line
that came damaged (its check does not fit, a byte of it was lost, or it is longer than said) is let run out
until nothing more comes, and asked for again. A damaged status line of a page is asked for with AGAIN, or, of
the first page of an ASK, which may be repeated, with the request itself, so that errors come again too. Where
lines are checked, requests are too. One that is answered 500 is sent again, and one answered 501 to 503 twice
at most: what was damaged may be its check. So is a MORE whose damaged reply begins with a 5, since AGAIN
would bring the page before it.
"""

import re
import textwrap
from collections.abc import Iterator
from typing import Final

from gateway.listings.assembly import z80_line as line_parts
from gateway.listings.assembly import z80_parts as parts
from gateway.listings.charset import check_encoded, letters_swapped
from gateway.listings.program import Task, check_unechoed
from gateway.wire.charsets import encode_text
from gateway.wire.settings import CHECK_WIDTHS, Settings

_COLUMNS: Final = 40  # of a source line
_ENDS: Final = {"crlf": (13, 10), "mirror": (13, 10), "cr": (13,), "lf": (10,), "9b": (0x9B,), "none": ()}
_PLAIN: Final = re.compile(rb"[ !#-&(-~]+")  # bytes that may stand between quotes
_FILE: Final = 8  # characters of a file's name that the line with the command has room for
_TRIES: Final = 8  # of one line or request
_WAIT_MS: Final = 800  # one wait of GETC with a clock of 4 MHz; it is longer with a slower one
_ANSWER_MS: Final = 45_000  # the gateway answers within 30 seconds unless its catalogue says otherwise
_PAUSE_MS: Final = 500  # within a line, or after the last one, on top of what the settings ask for
_BYTE: Final = 255  # the longest window that one byte counts


class Z80:
    """The writer for `--for z80`."""

    name = "z80"
    about = "Z80 assembly for pasmo; a serial chip at two ports, polled"
    suffix = ".asm"
    setup = "polled"

    def write(self, task: Task) -> str:
        """The whole program. NotPossible where its letters are not ASCII's, or come back as an echo."""
        settings = task.settings
        check_unechoed(settings)
        check_encoded(task, self.name)
        return "".join(_program(task))


def _program(task: Task) -> Iterator[str]:
    settings, checked = task.settings, _checked(task.settings)
    yield from _heading(task)
    yield parts.MACHINE.format(**_waits(settings))
    yield from _words(task)
    yield parts.START
    if task.setup:
        yield parts.SETUP
    yield parts.PAGES.format(
        first="REPEAT" if task.changes else "WORDS",
        silent="GIVEUP" if task.changes else "ASK2",
        resend=parts.RESEND.format(few=_TRIES - 1) if checked else "",
        likely=parts.LIKELY_500 if checked and not task.changes else "",
        held=_code("CALL HELD") if settings.window else "",
        full=_full(settings),
    )
    added = CHECK_WIDTHS[settings.check]
    less = _code(f"SUB {added}") if added else ""
    yield parts.SHOW.format(tries=_TRIES + 1, text=task.width - added, less=less)
    if settings.window:
        held = parts.HELD_BYTE if settings.window <= _BYTE else parts.HELD_DIGITS
        yield held.format(window=settings.window)
    yield from _sending(settings)
    yield from _reading(settings)
    yield from _data(task)


def _checked(settings: Settings) -> bool:
    return settings.check != "none"


def _code(*lines: str) -> str:
    return "".join(f"        {line}\n" for line in lines)


def _heading(task: Task) -> Iterator[str]:
    about = f"{task.source}: {task.about}".encode("ascii", "replace").decode("ascii")
    how = "Asks a headrace gateway and shows the records. For a Z80 of 3.5 MHz or more. To assemble:"
    file = task.source.lower() if len(task.source) <= _FILE else "file"
    for line in (*_wrapped(about), "", *_wrapped(how), f" pasmo --bin {file}.asm {file}.bin"):
        yield f"; {line}".rstrip() + "\n"
    yield "; Call its first byte; RET ends it.\n"
    if task.changes:
        yield "; It changes something far away, each\n; time that it runs.\n"
    yield ";\n"


def _wrapped(text: str) -> list[str]:
    printable = "".join(each if each.isprintable() else " " for each in text)
    return textwrap.wrap(printable, _COLUMNS - 2)


def _waits(settings: Settings) -> dict[str, int]:
    spaced = _PAUSE_MS + settings.gap + (2_000 // settings.pace if settings.pace else 0)
    brief = -(-spaced // _WAIT_MS)
    return {"long": min(_BYTE, brief + -(-_ANSWER_MS // _WAIT_MS)), "brief": brief}


def _words(task: Task) -> Iterator[str]:
    ended = 1 if _checked(task.settings) else 0
    if task.setup:
        yield from _text("SETUP:", task.setup.upper(), task.settings, 0)
    yield from _text("WORDS:", task.request, task.settings)
    for name, value in task.args:
        yield f"; {name.upper()}"[:_COLUMNS].encode("ascii", "replace").decode("ascii") + "\n"
        yield from _text("", f" {_word(value)}", task.settings)
    yield _code(f"DB {ended}")


def _word(value: str) -> str:
    """An arg as a word of a request (CONTRACT section 1)."""
    if value and " " not in value and value[0] not in "\"'":
        return value
    return '"' + value.replace('"', '""') + '"'


def _text(label: str, text: str, settings: Settings, *after: int) -> Iterator[str]:
    """DB lines of a text as the line and the screen have it, and of the bytes `after` it."""
    data = encode_text(text, settings.printed)
    items: list[str] = []
    place = 0
    while place < len(data):
        found = _PLAIN.match(data, place)
        piece = found[0][:16] if found else data[place : place + 1]
        items.append(f"'{piece.decode('ascii')}'" if found else str(piece[0]))
        place += len(piece)
    items += [str(each) for each in after]
    line = f"{label:8}DB "
    for item in items:
        if not line.endswith("DB ") and len(line) + 1 + len(item) > _COLUMNS:
            yield line + "\n"
            line = "        DB "
        line += item if line.endswith("DB ") else f",{item}"
    yield line + "\n"


def _full(settings: Settings) -> str:
    if not settings.window:
        return ""
    if settings.window > _BYTE:
        return _code("CALL FULL")
    return _code(f"LD A,{settings.window}", "LD (LINES),A")


def _check(settings: Settings) -> str:
    return {
        "none": "",
        "sum": _code("ADD A,E", "LD E,A"),
        "crc": _code("CALL CRC"),
    }[settings.check]


def _sending(settings: Settings) -> Iterator[str]:
    both = {"none": "", "sum": "LD A,E", "crc": "LD A,D"}[settings.check]
    digits = ""
    if _checked(settings):
        last = ("LD A,D", "CALL PUTHEX") if settings.check == "crc" else ()
        digits = line_parts.SEND_DIGITS.format(digits=_code(*last, "LD A,E", "CALL PUTHEX")).rstrip("\n")
    yield line_parts.SEND.format(
        clear="   LD DE,0" if both else "",
        check=_check(settings),
        digits=digits,
        feed=_code("CALL PUTC", "LD A,10") if settings.eol == "mirror" else "",
    )
    if _checked(settings):
        yield line_parts.PUT_HEX.format(swap=line_parts.SWAP if letters_swapped(settings) else "")


def _reading(settings: Settings) -> Iterator[str]:
    steps: list[tuple[str, str]] = []
    if settings.check == "crc":
        steps += [("LD A,D", "SAMEHX")]
    if _checked(settings):
        steps += [("LD A,E", "SAMEHX")]
    steps += [(f"LD B,{end}", "SAME") for end in _ENDS[settings.eol]]
    lines: list[str] = []
    for load, call in steps[:-1]:
        lines += [load, f"CALL {call}", "RET C"]
    if steps:
        lines += [steps[-1][0], f"JP {steps[-1][1]}"]
    yield line_parts.GET_LINE.format(
        clear=_code("LD DE,0") if _checked(settings) else "",
        nineb=line_parts.NINE_B if settings.eol == "9b" else "",
        check=_check(settings),
        rest=_code(*lines) if lines else _code("OR A", "RET"),
    )
    if _checked(settings):
        yield line_parts.SAME_HEX
    if steps:
        yield line_parts.SAME
    yield line_parts.GET_BYTE.format(strip=_code("AND 7FH") if settings.bits == 7 else "")
    if settings.check == "crc":
        yield line_parts.CRC


def _data(task: Task) -> Iterator[str]:
    settings = task.settings
    ended = 1 if _checked(settings) else 0
    yield ";\n; COLUMN FROM 0, WIDTH, NAME\nFIELDS:\n"
    for each in task.columns:
        yield _code(f"DB {each.start - 1},{each.width}")
        yield from _text("", f"{each.name}: ", settings, 0)
    yield _code("DB 0,0")
    yield from _text("MORE:", "MORE", settings, ended)
    yield from _text("REPEAT:", "AGAIN", settings, ended)
    yield from _text("ONE:", "00001", settings)
    yield from _text("ERROR:", "ERROR ", settings, 0)
    yield from _text("BADLY:", "LINE TOO BAD", settings, 13, 0)
    yield from _text("ENDING:", "END", settings, 13, 0)
    yield ";\n; WHAT CHANGES: RAM\n"
    yield from _text("FROM:", "AGAIN ", settings)
    yield from _text("NUMBER:", "00001", settings, ended)
    if settings.window > _BYTE:
        yield from _text("WINDOW:", f"{settings.window:05}", settings)
    rooms = [("STACK", 2), ("ASKED", 2), ("AFTER", 2), ("TRIES", 1), ("SEEN", 1)]
    rooms += [("PLUS", 1), ("WIDE", 1), ("OWED", 5), ("LEFT", 5)]
    if settings.window:
        rooms.append(("LINES", 1 if settings.window <= _BYTE else 5))
    for name, size in rooms:
        yield f"{name + ':':8}DS {size}\n"
    yield "; THE LINE, AT THE START OF A PAGE\n"
    yield "LINE    EQU ($+255)/256*256\n"
