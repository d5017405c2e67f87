"""Task -> BASIC with BGET# and BPUT# on channels from OPENIN and OPENUP.

The line is opened anew for each request that is sent, and closed after it: a filing system that keeps written
bytes back lets them go then. Machines that do not may keep one channel from OPENUP for both.
"""

from dataclasses import dataclass

from gateway.listings.basic import numbered, parts
from gateway.listings.basic.numbered import Line, to
from gateway.listings.program import Task


@dataclass(frozen=True, slots=True)
class BputChannel:
    """Bytes through a channel that is a file or a device."""

    name: str = "bput-channel"
    about: str = "BASIC with BGET# and BPUT# on channels from OPENIN and OPENUP"
    suffix: str = ".bas"
    setup: str = "buffer-256 eol=cr"
    lines_at_most: int = parts.LINE_ROOM
    buffer: int = 255

    def write(self, task: Task) -> str:
        """The program. NotPossible for lines that it could not read."""
        parts.suited(task, self.name, tuple(parts.ENDS))
        end = parts.ENDS[task.settings.eol]
        feed = (f"IF Z=10 THEN {to('wait')}",) if task.settings.eol == "crlf" else ()
        dialect = numbered.Dialect(
            opening=('O$="./tty"', "I=OPENIN(O$)"),
            take=(
                'R$=""',
                Line(f"Z=BGET#I: IF Z={end} THEN RETURN", "wait"),
                *feed,
                "IF LEN(R$)<255 THEN R$=R$+CHR$(Z)",
                f"GOTO {to('wait')}",
            ),
            send=(
                f'O=OPENUP(O$): IF P$="" THEN {to("ended")}',
                "FOR J=1 TO LEN(P$)",
                "BPUT#O,ASC(MID$(P$,J,1))",
                "NEXT J",
                Line("BPUT#O,13: CLOSE#O: RETURN", "ended"),
            ),
            closing="CLOSE#I",
            crc=(
                "X=H EOR ASC(MID$(R$,J,1))",
                "X=X EOR (X DIV 16)",
                "H=L EOR (X*16 AND 255)",
                "H=H EOR (X DIV 8)",
                "L=X EOR (X*32 AND 255)",
            ),
            pair=('RIGHT$("0"+STR$~({}),2)',),
        )
        return numbered.program(task, self.name, dialect)
