"""Task -> a program in strict C89 (ISO/IEC 9899:1990) for cross compilers.

It was compiled with cc65, sdcc and gcc. Nothing is allocated, and all that belongs to a machine stands in
one place at the top, or in a header of the machine's own that CHANNEL names (`-DCHANNEL='"mine.h"'`). The
settings are macros: the compiler leaves out what they do not need.
"""

import re
import textwrap
from typing import Final

from adapters import limits
from gateway.listings import c89_parts as parts
from gateway.listings import c89_reply as reply
from gateway.listings.charset import check_encoded
from gateway.listings.program import Task, check_unechoed
from gateway.wire.charsets import encode_text
from gateway.wire.settings import CHECK_WIDTHS

_COLUMNS: Final = limits.LISTING_COLUMNS
_SHOWN: Final = ("MORE", "AGAIN", "ERROR ", "END")  # texts of the parts
_QUARTER: Final = 250  # milliseconds
_ENDS: Final = {
    "crlf": (10, 13),
    "lf": (10, 13),
    "cr": (13, 10),
    "mirror": (13, 10),
    "9b": (155, 13),
    "none": (-1, 0),
}


class C89:
    """The writer for `--for c89`."""

    name = "c89"
    about = "C89 for a cross compiler; a UART in memory or at ports"
    suffix = ".c"
    setup = "polled"

    def write(self, task: Task) -> str:
        """The whole program. NotPossible where its letters are not ASCII's, or come back as an echo."""
        settings = task.settings
        check_unechoed(settings)
        check_encoded(task, self.name)
        blocks = [
            _heading(task),
            parts.MACHINE,
            _settings(task),
            _questions(task),
            parts.CHANNEL.replace("@MASK@", " & 0x7F" if settings.bits == 7 else ""),
            parts.ADDING.replace("@A@", str(encode_text("A", settings.printed)[0]))
            if settings.check != "none"
            else "",
            parts.LINES.replace("@ASK@", _asking(task)),
            reply.READING,
            reply.SHOWING,
            reply.MAIN.replace("@SETUP@", reply.SETUP if task.setup else ""),
        ]
        text = "\n".join(each for each in blocks if each)
        for word in _SHOWN:
            text = text.replace(f'"{word}', '"' + _escaped(word, settings.printed))
        return text


def _heading(task: Task) -> str:
    about = re.sub("[^ -~]", "?", " ".join(f"{task.source}: {task.about}".split()))
    # The end of a comment, its beginning, trigraphs, and a line that goes on.
    about = about.replace("\\", "/").replace("*/", "* /").replace("/*", "/ *")
    about = re.sub(r"\?(?=\?)", "? ", about)
    lines = [*textwrap.wrap(about, _COLUMNS - 6), "", *parts.ABOUT.splitlines()]
    return "/* " + "".join(f"   {each}".rstrip() + "\n" for each in lines).strip() + " */\n"


def _settings(task: Task) -> str:
    end, skipped = _ENDS[task.settings.eol]
    settings = task.settings
    slow = settings.gap + (1000 // settings.pace if settings.pace else 0)
    extra = -(-slow // _QUARTER)
    return parts.SETTINGS.format(
        window=settings.window,
        check=CHECK_WIDTHS[settings.check],
        end=end,
        skipped=skipped,
        changes=int(task.changes),
        pause=8 + extra,
        quiet=1 + extra,
    )


def _questions(task: Task) -> str:
    charset = task.settings.printed
    lines = ["/* ---- what to ask */"]
    if task.setup:
        lines += ["static const char setup[] =", *_literal(task.setup, charset)]
    lines += ["static const char ask[] =", *_literal(task.request + (" " if task.args else ""), charset)]
    for place, (name, value) in enumerate(task.args, 1):
        lines += [
            f"/* {name.upper()[: _COLUMNS - 6]} */",
            f"static const char arg{place}[] =",
            *_literal(_word(value), charset),
        ]
    lines.append(parts.FIELDS)
    for column in task.columns:
        name = f'  {{"{_escaped(column.name, charset)}",'
        numbers = f" {column.start - 1}, {column.width}}},"
        lines += [name + numbers] if len(name + numbers) <= _COLUMNS else [name, "  " + numbers]
    return "\n".join([*lines, "};", ""])


def _word(value: str) -> str:
    """An arg as a word of a request (CONTRACT section 1)."""
    if value and " " not in value and value[0] not in "\"'":
        return value
    return '"' + value.replace('"', '""') + '"'


def _literal(text: str, charset: str) -> list[str]:
    """String literals, one a line, and a semicolon."""
    lines = ['  "']
    for each in text:
        escaped = _escaped(each, charset)
        if len(lines[-1]) + len(escaped) > _COLUMNS - 3:
            lines[-1] += '"'
            lines.append('  "')
        lines[-1] += escaped
    lines[-1] += '";'
    return lines


def _escaped(text: str, charset: str) -> str:
    """A text as the line and the screen have it, within a string literal, without trigraphs."""
    data = encode_text(text, charset).decode("latin-1")
    return re.sub(r"[^ !#->@-\[\]-~]", lambda found: f"\\{ord(found[0]):03o}", data)


def _asking(task: Task) -> str:
    texts = "  put_text(ask);\n"
    for place in range(1, len(task.args) + 1):
        texts += ("  put_char(' ');\n" if place > 1 else "") + f"  put_text(arg{place});\n"
    return texts
