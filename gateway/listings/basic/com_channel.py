"""Task -> BASIC that opens a COM device: OPEN "COM1:...", LINE INPUT#, PRINT#.

With `LF` among its options such a BASIC sends CR LF and passes over the LF after a CR it reads; without, both
are CR alone (from memory of the manuals; run under PC-BASIC by the tests).
"""

from dataclasses import dataclass
from typing import Final

from gateway.listings.basic import numbered, parts
from gateway.listings.program import Task

_LONGEST: Final = 254  # after 255 characters LINE INPUT# takes the line for done, and its CR for another


@dataclass(frozen=True, slots=True)
class ComChannel:
    """A serial line that is a device with a name, on machines of many makers."""

    name: str = "com-channel"
    about: str = 'BASIC that opens a COM device: OPEN "COM1:...", LINE INPUT#, PRINT#'
    suffix: str = ".bas"
    setup: str = "buffer-256 eol=cr"
    lines_at_most: int = parts.LINE_ROOM
    buffer: int = 255  # bytes of its receive buffer, unless the interpreter was told another size

    def write(self, task: Task) -> str:
        """The program. NotPossible for lines that it could not read."""
        parts.suited(task, self.name, ("cr", "crlf", "mirror"), _LONGEST)
        feed = ",LF" if task.settings.eol == "crlf" else ""
        dialect = numbered.Dialect(
            opening=(f'O$="COM1:9600,N,8,1,CS,DS,CD{feed}"', "OPEN O$ AS #1"),
            take=("LINE INPUT#1,R$: RETURN",),
            send=("PRINT#1,P$: RETURN",),
            closing="CLOSE #1",
            crc=(
                "X=H XOR ASC(MID$(R$,J,1))",
                "X=X XOR X\\16",
                "H=L XOR (X*16 AND 255) XOR X\\8",
                "L=X XOR (X*32 AND 255)",
            ),
            pair=('RIGHT$("0"+HEX$({}),2)',),
        )
        return numbered.program(task, self.name, dialect)
