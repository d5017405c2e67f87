"""The sample session that `headrace demo` prints: request lines and what they show, as data.

The lines run in order on one connection, against the demo site and its catalogue; WHY explains the reply
before it. What is sent after a 350 is part of the sample.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Sample:
    """One request line as a client types it, and a line of plain words for the reader.

    `lines` are sent after a 350, the one that ends them included. `live`: not from a recording.
    """

    request: str
    meaning: str
    lines: tuple[str, ...] = ()
    live: bool = False


SAMPLES: Final = (
    Sample("SOURCES", "What can be asked here: each source, how wide its records are, what it is about."),
    Sample("LAYOUT TIDES", "Where each field of TIDES stands: name, first column, width, kind."),
    Sample("ASK TIDES MOLE", "One record a tide. A ? is a height that is missing, none is one that is null."),
    Sample(
        "PICK site:museum/objects.json $.objects[*] $.id:20i $.name:18",
        "A source made up on the spot: any document of a place, its rows, and two members of each.",
    ),
    Sample("TELL SCORE MOLE 8200", "Changes something: posts a score, and gets its rank back."),
    Sample("ASK SCORES", "The table with the new score in it, best first; the source's limit is ten."),
    Sample("WHY", "Where the last reply came from, how old it is, what was cut, how long each part took."),
    Sample("ASK BUSY", "An error has the same shape: a code, one record; here with the seconds to wait."),
    Sample("LIST quay:", "A folder by FTP: number, kind, size, date, name. The C says that a name was cut."),
    Sample("NAME #1", "LIST numbers its entries; this is the whole ref of the first."),
    Sample(
        "TEXT quay:notices/lamp-order.txt", "A notice as plain text; how it is encoded is found out here."
    ),
    Sample(
        "STORE ledger:greeting.txt",
        "Stores a text by WebDAV. Data lines begin with >, a dot alone ends them; only then is the file"
        " replaced, as a whole.",
        (">Greetings to the harbour office,", ">from a very small machine.", "."),
    ),
    Sample("COPY quay:glyphs/signals.chr ledger:signals.chr", "From FTP to WebDAV, through the gateway."),
    Sample(
        "READ ledger:signals.chr 0 16", "The first 16 bytes of the copy, in hex: two signal flags of 8 by 8."
    ),
    Sample("LIST ledger:", "The same request by WebDAV: the note and the copy are there."),
    Sample("TALK station: lines", "A text service, line by line: each line gets one reply.", live=True),
    Sample(
        ">SHIPS",
        "What is said begins with >. The reply holds all that the station has said so far.",
        live=True,
    ),
    Sample(".", "A dot alone leaves: 226, and requests are requests again.", live=True),
)
