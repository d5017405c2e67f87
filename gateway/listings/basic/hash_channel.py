"""Task -> BASIC with GET# on a numbered channel whose receive buffer holds 255 bytes.

GET# gives one character, or an empty string while there is none. INPUT# would split at commas and colons and
drop leading blanks, so nothing is read by it. Text is in capitals, as such a machine starts up. There is no
exclusive or: it is (A OR B)-(A AND B). From memory: the OPEN statement (device 2, control byte 8 for 1,200
bits a second, 8N1), and that it clears variables and returns, so that it comes first.
"""

from dataclasses import dataclass

from gateway.listings.basic import numbered, parts
from gateway.listings.basic.numbered import Line, to
from gateway.listings.program import Task


@dataclass(frozen=True, slots=True)
class HashChannel:
    """A numbered channel, read a character at a time."""

    name: str = "hash-channel"
    about: str = "BASIC with GET# on a numbered channel, capitals, a buffer of 255 bytes"
    suffix: str = ".bas"
    setup: str = "buffer-256 eol=cr case=upper typed=lower"
    lines_at_most: int = parts.LINE_ROOM
    buffer: int = 255

    def write(self, task: Task) -> str:
        """The program. NotPossible for lines that it could not read."""
        parts.suited(task, self.name, tuple(parts.ENDS), capitals=True)
        end = parts.ENDS[task.settings.eol]
        feed = (f"IF Z$=CHR$(10) THEN {to('wait')}",) if task.settings.eol == "crlf" else ()
        dialect = numbered.Dialect(
            opening=("OPEN 1,2,0,CHR$(8)+CHR$(0)",),
            take=(
                'R$=""',
                Line(f'GET#1,Z$: IF Z$="" THEN {to("wait")}', "wait"),
                f"IF Z$=CHR$({end}) THEN RETURN",
                *feed,
                "IF LEN(R$)<255 THEN R$=R$+Z$",
                f"GOTO {to('wait')}",
            ),
            send=("PRINT#1,P$: RETURN",),
            closing="CLOSE 1",
            crc=(
                "Y=ASC(MID$(R$,J,1))",
                "X=(H OR Y)-(H AND Y): Y=INT(X/16)",
                "X=(X OR Y)-(X AND Y)",
                "Y=X*16 AND 255",
                "H=(L OR Y)-(L AND Y): Y=INT(X/8)",
                "H=(H OR Y)-(H AND Y)",
                "Y=X*32 AND 255",
                "L=(X OR Y)-(X AND Y)",
            ),
            pair=("MID$(H$,INT({}/16)+1,1)", "MID$(H$,({} AND 15)+1,1)"),
            constants=('H$="0123456789ABCDEF"',),
            remarks=("CHR$(8) is 1200 bits a second on such machines (from memory); others differ",),
        )
        return numbered.program(task, self.name, dialect).upper()
