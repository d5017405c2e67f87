"""A LIST line in the easily parsed list format (EPLF) -> Entry, or None. From memory of its description:

    +i8388621.48594,m825718503,r,s280,<TAB>name
    `+`, facts that each end in a comma, TAB, the name to the end of the line

`/` may be entered, `r` may be read, `s` is a size in bytes, `m` a Unix time; others are passed over.
"""

from datetime import UTC, datetime

from adapters.files import Entry, Kind


def read_eplf_line(line: bytes) -> Entry | None:
    """The entry of one line, without its line end. None: not such a line."""
    facts, tab, name = line.partition(b"\t")
    if not facts.startswith(b"+") or not tab or not name:
        return None
    kind, size, modified = Kind.FILE, None, None
    for fact in facts[1:].split(b","):
        value = fact[1:]
        if fact == b"/":
            kind = Kind.FOLDER
        elif fact[:1] == b"s" and value.isdigit() and len(value) <= 20:
            size = int(value)
        elif fact[:1] == b"m" and value.isdigit() and len(value) <= 20:
            modified = _moment(int(value))
    return Entry(name=name, kind=kind, size=size if kind is Kind.FILE else None, modified=modified)


def _moment(seconds: int) -> datetime | None:
    try:
        return datetime.fromtimestamp(seconds, UTC)
    except (ValueError, OverflowError, OSError):
        return None
