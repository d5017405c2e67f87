"""A LIST line as DIR writes it -> Entry, or None. Common practice; there is no standard.

    02-29-24  12:30PM                 1834 notes v2.txt
    02-29-24  12:05AM       <DIR>          Spring Show
    date and time, a size or what it is, the name to the end of the line

The date is month-day-year; two digits of a year mean 1969 to 2068, as strptime(3) has it for %y. A junction
is a link, and where it leads, in brackets behind its name, is no part of the name.
"""

import re
from datetime import datetime
from typing import Final

from adapters.files import Entry, Kind
from adapters.ftp.listing.dates import made

_LINE: Final = re.compile(
    rb"""[ \t]* (?P<month>\d{1,2}) [-/.] (?P<day>\d{1,2}) [-/.] (?P<year>\d{4}|\d{2})
    [ \t]+ (?P<hour>\d{1,2}) : (?P<minute>\d{2}) (?: :\d{2} )? [ \t]* (?P<half>[AaPp][Mm]?)?
    [ \t]+ (?: < (?P<what>DIR|JUNCTION|SYMLINKD?) > | (?P<size>\d{1,20}|\d{1,3}(?:,\d{3})+) )
    (?P<rest>[ \t].*)""",
    re.VERBOSE | re.DOTALL | re.IGNORECASE,
)
_AFTER_WORD: Final = re.compile(rb"[ \t]{1,14}")  # `<DIR>` is followed by ten blanks, `<JUNCTION>` by five
_LEADS_TO: Final = re.compile(rb" \[[^\]]*\]\Z")


def read_msdos_line(line: bytes) -> Entry | None:
    """The entry of one line, without its line end. None: not such a line."""
    found = _LINE.fullmatch(line)
    if found is None:
        return None
    name = found["rest"][1:]  # exactly one blank stands between a size and a name
    kind = Kind.FILE
    if found["what"] is not None:
        blanks = _AFTER_WORD.match(found["rest"])
        name = found["rest"][blanks.end() if blanks else 0 :]
        kind = Kind.FOLDER
        if found["what"].upper() != b"DIR":
            kind = Kind.LINK
            name = _LEADS_TO.sub(b"", name)
    if not name:
        return None
    size = None if found["size"] is None else int(found["size"].replace(b",", b""))
    return Entry(name=name, kind=kind, size=size, modified=_moment(found))


def _moment(found: re.Match[bytes]) -> datetime | None:
    year, hour = int(found["year"]), int(found["hour"])
    if len(found["year"]) == 2:
        year += 1900 if year >= 69 else 2000
    half = (found["half"] or b"")[:1].lower()
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == b"p" else 0)  # 12AM is midnight, 12PM noon
    return made(year, int(found["month"]), int(found["day"]), hour, int(found["minute"]))
