"""Task -> the statements that every BASIC writes alike: remarks, strings, the request, records on the screen.

A statement is one program line without its number; `room` is how long it may be. Strings hold neither a
double quote, which would end them, nor a backslash, which some BASICs take for more than itself.
"""

import textwrap
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final
from urllib.parse import quote

from adapters import limits
from adapters.errors import NotPossible
from gateway.extract.fields.text import Lettering
from gateway.listings.charset import check_as_is
from gateway.listings.program import Column, Task, check_unechoed
from gateway.wire.settings import CHECK_WIDTHS

SCREEN: Final = limits.LISTING_COLUMNS
DONE: Final = "200 00000 000 .."
"""The whole answer to NOOP (CONTRACT section 2)."""

LINE_ROOM: Final = 28  # of a line of text in a DATA statement
TEXT: Final = ("Hello from far away", "and thanks")
"""What a program sends to a source that takes lines, until somebody changes it."""

TRIES: Final = 9
"""How often a program asks again for one damaged line before it gives up."""

ENDS: Final[Mapping[str, int]] = MappingProxyType({"cr": 13, "crlf": 13, "lf": 10, "9b": 155, "mirror": 13})
"""Setting `eol` -> the byte that ends a line for a program that reads bytes and sends CR."""

_CHECKED: Final = 6  # characters of a request's check at most: a blank, a star, four digits
_APART: Final = "  "  # between two fields on the screen
_VARIABLES: Final = tuple(
    f"{letter}{digit}$" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" for digit in range(1, 10)
)


def digits(task: Task) -> int:
    """Of the check, after each line."""
    return CHECK_WIDTHS[task.settings.check]


def suited(
    task: Task,
    trait: str,
    eols: Sequence[str],
    longest: int = limits.RECORD_WIDTH,
    *,
    capitals: bool = False,
) -> None:
    """NotPossible, with a sentence, where no program of that trait can follow the settings.

    `longest` is the longest line, its end not counted, that it can read; `capitals` says that it is written
    in them.
    """
    settings = task.settings
    width = max(task.width, settings.cols + digits(task))
    if width > longest:
        raise NotPossible(f"{trait} takes lines of {longest} at most, and these have {width}")
    if settings.eol not in eols:
        raise NotPossible(f"{trait} needs eol={' or eol='.join(eols)}")
    check_unechoed(settings)
    if task.lines and settings.check != "none":
        raise NotPossible("Lines of text and a check do not go together here: check=none")
    asked = " ".join([task.request, *(word(value) for _, value in task.args)])
    lines = (">", *TEXT) if task.lines else ()
    texts = (task.setup, asked, *lines)
    check_as_is(task, trait, (each.upper() for each in texts) if capitals else texts)
    size = len(asked)
    most = limits.LINE_BYTES - _CHECKED
    if size > most or len(task.args) > len(_VARIABLES):
        raise NotPossible(f"The request would have {size} characters; {most} are taken")


def opening(task: Task, trait: str) -> tuple[str, ...]:
    """What the program is, as texts for remarks; the writer says where the channel is."""
    about = Lettering("ascii", {}).clean(task.about)
    said = [f"{task.source}: {about}" if about else task.source]
    said.append(f"Written by headrace listing {task.source} --for {trait}; {task.setup or 'no SET'}")
    if task.changes:
        said.append("Running it CHANGES something at the far server, each time")
    return tuple(said)


def remarks(texts: Sequence[str], room: int) -> list[str]:
    """REM statements, wrapped at blanks."""
    lines: list[str] = []
    for text in texts:
        lines += (f"REM {line}" for line in textwrap.wrap(text, room - 4))
    return lines


def literal(text: str) -> str:
    """A string's characters that stand for themselves in every BASIC."""
    return text.replace('"', "'").replace("\\", "/")


def word(value: str) -> str:
    """An example's value as a request's word (CONTRACT section 1): in quotes where it has to be, and with
    `%hh` for what a program's string cannot hold.
    """
    safe = "".join(
        each if " " <= each <= "~" and each not in '"\\' else quote(each, safe="") for each in value
    )
    if safe and " " not in safe and not safe.startswith("'"):
        return safe
    return "'" + safe.replace("'", "''") + "'"


def strings(variable: str, text: str, room: int) -> list[str]:
    """Statements that put a text, whatever its length, into a string variable."""
    lines, first = [], f'{variable}="'
    while True:
        space = room - len(first) - 1
        blank = text.rfind(" ", 0, space) if len(text) > space else -1
        end = blank + 1 if blank > 0 else space
        lines.append(f'{first}{text[:end]}"')
        text, first = text[end:], f'{variable}={variable}+"'
        if not text:
            return lines


def args(task: Task, room: int) -> list[str]:
    """Statements that give each arg's variable its example, with the arg's name behind it or above it."""
    lines = []
    for (name, value), variable in zip(task.args, _VARIABLES, strict=False):
        given = strings(variable, word(value), room)
        remark = f"REM {literal(name)}"[:room]
        if len(given) == 1 and len(given[0]) + len(remark) + 2 <= room:
            lines.append(f"{given[0]}: {remark}")
        else:
            lines += [remark, *given]
    return lines


def data(task: Task) -> list[str]:
    """DATA statements with the lines that follow the request; a dot ends them."""
    if not task.lines:
        return []
    return ["REM The lines to send, and a dot", *(f'DATA "{line}"' for line in (*TEXT, "."))]


def request(task: Task, room: int) -> list[str]:
    """Statements that put the request with its args into Q$."""
    text = f'Q$="{task.request}'
    lines: list[str] = []
    for variable in _VARIABLES[: len(task.args)]:
        longer = f"{text}{' ' if text.endswith(task.request) else '+'}"
        longer += f'"+{variable}' if text.endswith(task.request) else f'" "+{variable}'
        if len(longer) <= room:
            text = longer
            continue
        lines.append(f'{text}"' if text.endswith(task.request) else text)
        text = f'Q$=Q$+" "+{variable}'
    return [*lines, f'{text}"' if text.endswith(task.request) else text]


def shown(columns: Sequence[Column], room: int, joiner: str) -> list[str]:
    """Statements that show the record R$: names and values, as many fields a line of the screen as fit.

    `joiner` is what stands between the parts of a PRINT.
    """
    lines: list[str] = []
    used = 0  # columns of the screen's line that is being written
    for column in columns:
        label = f"{literal(column.name)} "
        size = len(label) + column.width
        if used and used + len(_APART) + size < SCREEN:
            lines[-1] += ";"
            label, size = _APART + label, len(_APART) + size
            used += size
        else:
            used = size
        if size < SCREEN:
            lines += _printed(label, f"MID$(R$,{column.start},{column.width})", room, joiner)
            continue
        used = 0
        lines.append(f'PRINT "{label.rstrip()}"')
        lines += pieces(column.start, column.width)
    return lines


def pieces(start: int, width: int) -> list[str]:
    """Statements that print columns of R$ in lines that the screen has room for."""
    end = start + width
    return [f"PRINT MID$(R$,{at},{min(SCREEN, end - at)})" for at in range(start, end, SCREEN)]


def error(task: Task) -> list[str]:
    """Statements that print the sentence of an error reply, which R$ holds."""
    mark = int(task.settings.mark)
    return pieces(1 + mark, task.settings.cols - mark)


def _printed(label: str, value: str, room: int, joiner: str) -> list[str]:
    whole = f'PRINT "{label}"{joiner}{value}'
    if len(whole) + 1 <= room:  # and perhaps a semicolon
        return [whole]
    return [f'PRINT "{label}";', f"PRINT {value}"]
