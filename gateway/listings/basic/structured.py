"""Task -> BASIC with line-oriented file statements, WHILE and blocks of IF, numbers only on routines' lines.

Two kinds of it are about: one has a comma after `#1` and an XOR operator, the other neither. What differs
stands in the routines at the end, each such line with the other's spelling in a remark `REM OR:` after it.
The rest, PRINTs joined by `+` among it, both understand (run under bwbasic and yabasic by the tests).

The line to the gateway is a device that is a file: read through #1, opened anew as #2 for each line that is
sent, so that what was written goes out.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from adapters import limits
from gateway.listings.basic import parts
from gateway.listings.program import Task

_INDENT: Final = "  "
_ROOM: Final = limits.LISTING_COLUMNS - len("900 ")


@dataclass(frozen=True, slots=True)
class Structured:
    """Line-oriented file statements."""

    name: str = "structured"
    about: str = "BASIC with OPEN, LINE INPUT and PRINT on file numbers, WHILE and END IF"
    suffix: str = ".bas"
    setup: str = "plain eol=lf"
    lines_at_most: int = parts.LINE_ROOM

    def write(self, task: Task) -> str:
        """The program. NotPossible for lines that it could not read."""
        parts.suited(task, self.name, ("lf", "crlf", "mirror"))
        lines = [
            *parts.remarks(parts.opening(task, self.name), _ROOM),
            *parts.remarks(("Other channel or BASIC: change from line 700 on",), _ROOM),
            *parts.args(task, _ROOM),
            *parts.data(task),
            *_main(task),
            *_ask(task),
            *(_retry(task) if task.settings.check != "none" else ()),
            *(_text(task) if task.lines else ()),
            *_line(task),
            *(_check(task) if task.settings.check != "none" else ()),
            "500 REM Shows record R$",
            *parts.shown(task.columns, _ROOM, "+"),
            "RETURN",
            *_channel(task),
        ]
        return "".join(f"{line}\n" for line in lines)


def _block(head: str, body: Iterable[str]) -> Iterator[str]:
    """A WHILE or an IF with its end."""
    yield head
    yield from (_INDENT + line for line in body)
    yield "WEND" if head.startswith("WHILE") else "END IF"


def _main(task: Task) -> Iterator[str]:
    yield "GOSUB 700"
    if task.settings.check != "none":
        yield "E=0"
        yield 'H$="0123456789ABCDEF"'
    if task.setup:
        yield from parts.strings("Q$", task.setup, _ROOM)
        yield "GOSUB 100"
    if task.settings.check != "none":
        yield "E=1"
    yield from parts.request(task, _ROOM)
    yield "GOSUB 100"
    yield from _block('WHILE MID$(S$,15,1)="+"', ('Q$="MORE"', "GOSUB 100"))
    yield "GOTO 990"


def _ask(task: Task) -> Iterator[str]:
    """The status line is still to come while N is below nought."""
    checked, begun = task.settings.check != "none", ["W=0"] if task.settings.window else []
    yield "100 REM Asks Q$, shows its reply"
    if checked:
        yield from ("D=0", "T=0", "N=-1")
        told = _block("IF B=0 THEN", ("GOSUB 200",))
        status = ["P$=Q$", "GOSUB 450", *begun, "GOSUB 300", "S$=R$", *told]
        rest = () if task.settings.window else ("GOSUB 150",)
        record = ["GOSUB 300", *_block("IF B=0 THEN", ("GOSUB 500", "N=N-1", "D=D+1", "T=0", *rest))]
        yield "WHILE N<>0"
        yield from ("  IF N<0 THEN", *(f"    {line}" for line in status))
        yield from ("  ELSE", *(f"    {line}" for line in record), "  END IF")
        yield from ("  IF B=1 THEN", "    GOSUB 250", "  END IF")
        yield "WEND"
        yield "RETURN"
        if not task.settings.window:  # AGAIN n brings record n alone
            yield "150 REM Others one by one"
            yield from _block("IF N=0 THEN", _block("IF D<M THEN", ('Q$="AGAIN "+STR$(D+1)', "N=-1")))
            yield "RETURN"
    else:
        yield from ("P$=Q$", "GOSUB 900", *begun, "GOSUB 300", "S$=R$", "GOSUB 200")
        yield from _block("WHILE N>0", ("GOSUB 300", "GOSUB 500", "N=N-1"))
        yield "RETURN"
    yield "200 REM Reads status line S$"
    if task.lines:
        yield from _block('IF LEFT$(S$,1)="3" THEN', ("GOSUB 600",))
    if not checked:
        yield from _block("IF LEN(S$)<>16 THEN", ('PRINT "NO STATUS: "+LEFT$(S$,20)', "GOTO 990"))
    body = ('PRINT "ERROR "+LEFT$(S$,3)', "GOSUB 300", *parts.error(task), "GOTO 990")
    known: tuple[str, ...] = (*_block('IF LEFT$(S$,1)<>"2" THEN', body), "N=VAL(MID$(S$,5,5))")
    if checked and not task.settings.window:
        known += tuple(_block("IF D=0 THEN", ("M=N",)))
    if checked:
        yield from ('IF LEFT$(S$,3)="500" THEN', "  GOSUB 300", "  GOSUB 280", "  B=0", "ELSE")
        yield from (_INDENT + line for line in known)
        yield "END IF"
    else:
        yield from known
    yield "RETURN"


def _text(task: Task) -> Iterator[str]:
    """The DATA lines, each behind its `>`, and the dot as it is (CONTRACT section 3, STORE)."""
    yield from ("600 REM Sends the DATA lines", "RESTORE", 'D$=""')
    body = ("READ D$", 'P$=">"+D$', *_block('IF D$="." THEN', ("P$=D$",)), "GOSUB 900")
    yield from _block('WHILE D$<>"."', body)
    if task.settings.window:
        yield "W=0"
    yield from ("GOSUB 300", "S$=R$", "RETURN")


def _retry(task: Task) -> Iterator[str]:
    """A request that came garbled has not run, and is sent as it was. Else NOOP first, whose answer cannot be
    taken for a record: what comes before it is what was left of the reply.

    NOOP's answer may be garbled too, and nothing comes after it. Where the status line was read, N tells how
    many lines come before it, so that it is known by its place (K is 0 then) and NOOP is sent again; so it
    is with a window of one line. Else, after a garbled status line, it is waited for.
    """
    window = task.settings.window
    yield from ("250 REM Garbled: asks again", "GOSUB 280", "K=0" if window == 1 else "K=N-1")
    if window > 1:
        yield from _block(f"IF K>{window}-W THEN", (f"K={window}-W",))
    yield "GOSUB 270"
    late = _block("IF K=-1 THEN", ("GOSUB 260",))
    read = ("GOSUB 800", "K=K-1", *_block("IF LEFT$(R$,16)<>G$ THEN", late))
    yield from _block("WHILE LEFT$(R$,16)<>G$", read)
    if window:  # else AGAIN would mean NOOP's answer, which waits too
        yield from ('P$=""', "GOSUB 900")
    yield from _block('IF Q$="MORE" THEN', ('Q$="AGAIN"',))
    if task.changes:
        yield from _block('IF LEFT$(Q$,4)="TELL" THEN', ('Q$="AGAIN"',))
    yield from _block("IF D>0 THEN", ('Q$="AGAIN "+STR$(D+1)',))
    yield "N=-1"
    yield "RETURN"
    yield "260 REM NOOP or its answer was garbled"
    yield from _block('IF LEFT$(R$,3)="500" THEN', ("GOSUB 800",))
    yield from ("GOSUB 280", "K=0", "GOSUB 270", "RETURN")
    yield from ("270 REM Sends NOOP", 'P$="NOOP"', "GOSUB 450", f'G$="{parts.DONE}"', 'R$=""', "RETURN")
    yield "280 T=T+1"
    yield from _block(f"IF T>{parts.TRIES} THEN", ('PRINT "LINE TOO BAD"', "GOTO 990"))
    yield "RETURN"


def _line(task: Task) -> Iterator[str]:
    window, width = task.settings.window, parts.digits(task)
    yield "300 REM Reads a line into R$"
    if window:
        yield from _block(f"IF W={window} THEN", ('P$=""', "GOSUB 900", "W=0"))
        yield "W=W+1"
    yield "GOSUB 800"
    if width:
        good: tuple[str, ...] = (f"K$=RIGHT$(R$,{width})", f"R$=LEFT$(R$,LEN(R$)-{width})", "GOSUB 400")
        good += tuple(_block("IF C$=K$ THEN", ("B=0",)))
        yield "B=1"
        yield from _block(f"IF LEN(R$)>{width} THEN", good)
    yield "RETURN"


def _check(task: Task) -> Iterator[str]:
    yield f"400 REM Check C$ of R$: {task.settings.check}"
    yield from ("H=0", "L=0", "FOR J=1 TO LEN(R$)")
    if task.settings.check == "crc":
        crc: tuple[str, ...] = ("Y=ASC(MID$(R$,J,1))", "X=H", "GOSUB 950", "Y=INT(X/16)", "GOSUB 950", "V=X")
        crc += ("Y=V*16-INT(V/16)*256", "X=L", "GOSUB 950", "Y=INT(V/8)", "GOSUB 950", "H=X")
        crc += ("Y=V*32-INT(V/8)*256", "X=V", "GOSUB 950", "L=X")
        yield from (_INDENT + line for line in crc)
    else:
        yield from ("  L=L+ASC(MID$(R$,J,1))", "  L=L-INT(L/256)*256")
    yield "NEXT J"
    yield 'C$=""'
    for name in "HL" if task.settings.check == "crc" else "L":
        yield f"C$=C$+MID$(H$,INT({name}/16)+1,1)"
        yield f"C$=C$+MID$(H$,{name}-INT({name}/16)*16+1,1)"
    yield "RETURN"
    yield "450 REM Sends P$, checked if E is 1"
    yield from _block("IF E=1 THEN", ("R$=P$", "GOSUB 400", 'P$=P$+" *"+C$'))
    yield "GOSUB 900"
    yield "RETURN"


def _channel(task: Task) -> Iterator[str]:
    yield from ("700 REM Opens the channel", 'O$="./tty"')
    yield from ("OPEN O$ FOR INPUT AS #1", "REM OR: OPEN O$ FOR READING AS #1", "RETURN")
    yield from ("800 REM Reads a line of the channel", "LINE INPUT #1, R$", "REM OR: LINE INPUT #1 R$")
    if task.settings.eol == "crlf":
        yield from _block("IF RIGHT$(R$,1)=CHR$(13) THEN", ("R$=LEFT$(R$,LEN(R$)-1)",))
    yield "RETURN"
    yield "900 REM Sends line P$"
    yield from ("OPEN O$ FOR OUTPUT AS #2", "REM OR: OPEN O$ FOR WRITING AS #2")
    yield from ("PRINT #2, P$", "REM OR: PRINT #2 P$")
    yield from ("CLOSE #2", "RETURN")
    if task.settings.check == "crc":
        yield from ("950 REM X exclusive-or Y", "X=X XOR Y", "REM OR: X=XOR(X,Y)", "RETURN")
    yield from ("990 CLOSE #1", 'PRINT "END"', "END")
