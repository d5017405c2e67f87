"""Task + Dialect -> a BASIC program with line numbers.

The flow is the same for all: `ask` sends Q$ and shows the whole reply, `line` reads one line into R$ and,
with a check, says in B whether it is bad, `show` shows a record. What touches the channel stands in four
places: `open` at the very beginning, since some machines forget all variables and returns when they open a
serial line, and `take`, `send` and `close` at the end.

Variables: Q$ request, P$ what is sent now, S$ status line, R$ line; N records to come (below nought until the
status line is read), D shown, M of the page, W lines of this window, T tries, K lines before NOOP's answer, E
set once the other side knows of the check. Counts go up to 99,999, so none is an
integer variable. No name is longer than two characters, since that is all that some BASICs look at.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.listings.basic import parts
from gateway.listings.program import Task

_NUMBER: Final = 5  # columns of a line's number, the blank included
ROOM: Final = limits.LISTING_COLUMNS - _NUMBER
_STEP: Final = 10
_TARGET: Final = re.compile("\0([a-z]+)\0")


@dataclass(frozen=True, slots=True)
class Line:
    """One program line without its number, and the label that others find it by."""

    text: str
    label: str = ""


@dataclass(frozen=True, slots=True)
class Dialect:
    """What differs: the channel, and arithmetic on bits.

    `take` reads a line into R$, `send` sends P$ and a line end; both end by RETURN and may jump to their own
    label. `crc` takes the byte at J of R$ into the CRC whose halves are H and L. `pair` are string
    expressions that show a byte, named by `{}`, as two hex digits. `constants` are needed for a check.
    """

    opening: tuple[str, ...]
    take: tuple[str | Line, ...]
    send: tuple[str | Line, ...]
    closing: str
    crc: tuple[str, ...]
    pair: tuple[str, ...]
    constants: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()  # on the channel


def to(label: str) -> str:
    """The number of the line with that label, once it is known."""
    return f"\0{label}\0"


def program(task: Task, trait: str, dialect: Dialect) -> str:
    """The whole program, its lines ended by LF."""
    first = f"{to('open')}-" if len(dialect.opening) > 1 else ""
    lines = [
        *_block("", parts.remarks(parts.opening(task, trait), ROOM)),
        Line("REM For another channel change"),
        Line(f"REM {first}{to('ready')}, {to('take')}-{to('close')}"),
        *_block("", parts.remarks(dialect.remarks, ROOM)),
        *_block("open", dialect.opening[:-1]),
        Line(dialect.opening[-1], "ready"),
        *_block("", parts.args(task, ROOM)),
        *_block("", parts.data(task)),
        *_main(task, dialect),
        *_ask(task),
        *(_text(task) if task.lines else ()),
        *(_retry(task) if task.settings.check != "none" else ()),
        *_line(task),
        *(_check(task, dialect) if task.settings.check != "none" else ()),
        Line("REM Shows record R$", "show"),
        *_block("", parts.shown(task.columns, ROOM, ";")),
        Line("RETURN"),
        *_block("take", dialect.take, "REM Channel: reads a line into R$"),
        *_block("send", dialect.send, "REM Channel: sends line P$"),
        Line(f'{dialect.closing}: PRINT "END": END', "close"),
    ]
    return _numbered(lines)


def _numbered(lines: Sequence[Line]) -> str:
    numbers = {each.label: _STEP * place for place, each in enumerate(lines, 1) if each.label}
    numbers.setdefault("line", numbers["take"])  # without window and check it is the channel's own reading
    return "".join(
        f"{_STEP * place} {_TARGET.sub(lambda found: str(numbers[found[1]]), each.text)}\n"
        for place, each in enumerate(lines, 1)
    )


def _block(label: str, texts: Sequence[str | Line], remark: str = "") -> Iterator[Line]:
    """Lines of which the first has the label; a remark stands before them."""
    if remark:
        yield Line(remark)
    for place, text in enumerate(texts):
        yield text if isinstance(text, Line) else Line(text, label if place == 0 else "")


def _main(task: Task, dialect: Dialect) -> Iterator[Line]:
    checked = task.settings.check != "none"
    if checked:
        yield from _block("", dialect.constants)
    if task.setup:
        yield from _block("", parts.strings("Q$", task.setup, ROOM))
        yield Line(f"{'E=0: ' if checked else ''}GOSUB {to('ask')}")
    yield from _block("", parts.request(task, ROOM))
    yield Line(f"{'E=1: ' if checked else ''}GOSUB {to('ask')}", "page")
    yield Line(f'IF MID$(S$,15,1)<>"+" THEN {to("close")}')
    yield Line(f'Q$="MORE": GOTO {to("page")}')


def _ask(task: Task) -> Iterator[Line]:
    checked, windowed = task.settings.check != "none", task.settings.window
    sender = "checked" if checked else "send"
    yield Line("REM Asks Q$, shows its reply")
    yield from _block("ask", ("D=0: T=0",) if checked else ())
    begun = f"{'N=-1: ' if checked else ''}{'W=0: ' if windowed else ''}"
    yield Line(f"P$=Q$: {begun}GOSUB {to(sender)}", "again" if checked else "ask")
    yield Line(f"GOSUB {to('line')}: S$=R$", "answer")
    if checked:
        yield Line(f"IF B THEN {to('retry')}")
        yield Line(f'IF LEFT$(S$,3)="500" THEN {to("unheard")}')
    else:
        yield Line(f"IF LEN(S$)<>16 THEN {to('odd')}")
    if task.lines:
        yield Line(f'IF LEFT$(S$,1)="3" THEN {to("text")}')
    yield Line(f'IF LEFT$(S$,1)<>"2" THEN {to("error")}')
    yield Line("N=VAL(MID$(S$,5,5))")
    if checked and not windowed:  # AGAIN n brings record n alone: the page's others are asked for one by one
        yield Line("IF D=0 THEN M=N")
        yield Line(f"IF N>0 THEN {to('record')}", "next")
        yield Line("IF D=M THEN RETURN")
        yield Line(f'Q$="AGAIN "+STR$(D+1): GOTO {to("again")}')
    else:
        yield Line("IF N=0 THEN RETURN", "next")
    if checked:
        yield Line(f"GOSUB {to('line')}: IF B THEN {to('retry')}", "" if windowed else "record")
        yield Line(f"GOSUB {to('show')}: N=N-1: D=D+1: T=0")
    else:
        yield Line(f"GOSUB {to('line')}: GOSUB {to('show')}: N=N-1")
    yield Line(f"GOTO {to('next')}")
    yield Line('PRINT "ERROR ";LEFT$(S$,3)', "error")
    yield Line(f"GOSUB {to('line')}")
    *pieces, last = parts.error(task)
    yield from _block("", pieces)
    yield Line(f"{last}: GOTO {to('close')}")
    if not checked:
        yield Line('PRINT "NO STATUS: ";LEFT$(S$,20)', "odd")
        yield Line(f"GOTO {to('close')}")


def _text(task: Task) -> Iterator[Line]:
    """The DATA lines, each behind its `>`, and the dot as it is (CONTRACT section 3, STORE)."""
    yield Line("REM Sends the DATA lines")
    yield Line("RESTORE", "text")
    yield Line('READ D$: P$=">"+D$', "data")
    yield Line('IF D$="." THEN P$=D$')
    yield Line(f'GOSUB {to("send")}: IF D$<>"." THEN {to("data")}')
    yield Line(f"{'W=0: ' if task.settings.window else ''}GOTO {to('answer')}")


def _retry(task: Task) -> Iterator[Line]:
    """A request that came garbled has not run, and is sent as it was. Else NOOP first, whose answer cannot be
    taken for a record: what comes before it is what was left of the reply.

    NOOP's answer may be garbled too, and nothing comes after it. Where the status line was read, N tells how
    many lines come before it, so that it is known by its place (K is 0 then) and NOOP is sent again; so it
    is with a window of one line. Else, after a garbled status line, it is waited for.
    """
    window = task.settings.window
    yield Line("REM Garbled: asks again")
    yield Line(f"GOSUB {to('line')}: T=T+1", "unheard")
    yield Line(f"IF T<={parts.TRIES} THEN {to('again')}")
    yield Line(f'PRINT "LINE TOO BAD": GOTO {to("close")}', "much")
    yield Line(f"T=T+1: IF T>{parts.TRIES} THEN {to('much')}", "retry")
    yield Line("K=0" if window == 1 else "K=N-1")
    if window > 1:
        yield Line(f"IF K>{window}-W THEN K={window}-W")
    yield Line(f'P$="NOOP": GOSUB {to("checked")}', "noop")
    yield Line(f'G$="{parts.DONE}"')
    yield Line(f"GOSUB {to('take')}: K=K-1", "skip")
    yield Line(f"IF LEFT$(R$,16)=G$ THEN {to('found')}")
    yield Line(f"IF K<>-1 THEN {to('skip')}")
    yield Line(f'IF LEFT$(R$,3)="500" THEN GOSUB {to("take")}')
    yield Line(f"T=T+1: IF T>{parts.TRIES} THEN {to('much')}")
    yield Line(f"K=0: GOTO {to('noop')}")
    if window:  # else AGAIN would mean NOOP's answer, which waits too
        yield Line(f'P$="": GOSUB {to("send")}', "found")
    yield Line('IF Q$="MORE" THEN Q$="AGAIN"', "" if window else "found")
    if task.changes:
        yield Line('IF LEFT$(Q$,1)="T" THEN Q$="AGAIN"')
    yield Line('IF D>0 THEN Q$="AGAIN "+STR$(D+1)')
    yield Line(f"GOTO {to('again')}")


def _line(task: Task) -> Iterator[Line]:
    window, width = task.settings.window, parts.digits(task)
    if window:
        yield Line(f"REM A line; an empty one each {window}"[:ROOM])
        yield Line(f"IF W<{window} THEN {to('more')}", "line")
        yield Line(f'W=0: P$="": GOSUB {to("send")}')
        yield Line("W=W+1" if width else f"W=W+1: GOTO {to('take')}", "more")
    if width:
        yield Line("REM B says if the line is bad")
        yield Line(f"GOSUB {to('take')}: B=1", "" if window else "line")
        yield Line(f"IF LEN(R$)<={width} THEN RETURN")
        yield Line(f"K$=RIGHT$(R$,{width})")
        yield Line(f"R$=LEFT$(R$,LEN(R$)-{width}): GOSUB {to('check')}")
        yield Line("B=(C$<>K$): RETURN")


def _check(task: Task, dialect: Dialect) -> Iterator[Line]:
    yield Line("REM Sends P$ and its check")
    yield Line(f"IF E=0 THEN {to('send')}", "checked")
    yield Line(f"R$=P$: GOSUB {to('check')}")
    yield Line(f'P$=P$+" *"+C$: GOTO {to("send")}')
    yield Line(f"REM Check C$ of R$: {task.settings.check}")
    yield Line("H=0: L=0: FOR J=1 TO LEN(R$)", "check")
    if task.settings.check == "crc":
        yield from _block("", dialect.crc)
        yield Line('NEXT J: C$=""')
        bytes_shown = "HL"
    else:
        yield Line("L=L+ASC(MID$(R$,J,1))")
        yield Line('NEXT J: L=L-256*INT(L/256): C$=""')
        bytes_shown = "L"
    for name in bytes_shown:
        for expression in dialect.pair:
            yield Line(f"C$=C$+{expression.format(name)}")
    yield Line("RETURN")
