"""What cron mails."""

import tomllib

from gateway.drift.comparing import Finding, What
from gateway.drift.report import COLUMNS, Checked, report

GONE = Finding(What.GONE, "METRES", '"$.height.metres" finds nothing', ("$.level", "$.h\u00f6he"))
NEW = Finding(What.NEW, "", "new beside the fields: $.phase")
CHECKED = (
    Checked("ASK TIDES MOLE", (GONE, NEW)),
    Checked("ASK TIDES BAR", (NEW,)),
    Checked("ASK NEWS"),
    Checked("ASK BUSY", unchecked="Asked too often; wait"),
    Checked("ASK PILOTS", failed="533 The far server refuses our login"),
)


def test_all_of_it() -> None:
    assert list(report(CHECKED, quiet=False)) == [
        "2 of 5 requests have drifted; 1 could not be checked",
        "ASK TIDES MOLE:",
        '  METRES: "$.height.metres" finds nothing',
        "      likely now: $.level",
        "      or: $.h\\u00f6he",
        "  rows: new beside the fields: $.phase",
        "ASK TIDES BAR:",
        "  rows: new beside the fields: $.phase",
        "ASK NEWS: as it was",
        "ASK BUSY: not checked: Asked too often; wait",
        "ASK PILOTS: 533 The far server refuses our login",
    ]


def test_quietly() -> None:
    assert list(report(CHECKED, quiet=True)) == [
        "2 of 5 requests have drifted; 1 could not be checked",
        "ASK TIDES MOLE:",
        '  METRES: "$.height.metres" finds nothing',
        "      likely now: $.level",
        "      or: $.h\\u00f6he",
        "ASK PILOTS: 533 The far server refuses our login",
    ]
    assert list(report(CHECKED[1:4], quiet=True)) == []


def test_no_line_is_too_long() -> None:
    long = Finding(What.FIT, "NAME", "word " * 60)
    assert max(map(len, report([Checked("ASK " + "x " * 60, (long,))], quiet=True))) <= COLUMNS


def test_a_far_server_cannot_write_on_the_terminal() -> None:
    evil = Finding(What.NEW, "", "new beside the fields: $['\x1b[2J\x07']")
    assert list(report([Checked("ASK NEWS", (evil,))], quiet=False))[-1] == (
        "  rows: new beside the fields: $['\\x1b[2J\\x07']"
    )


def test_a_path_pasted_into_a_catalogue_is_the_path() -> None:
    """As tomllib reads TOML 1.0's basic strings."""
    path = "$['h\u00f6he \U0001f30a']"
    finding = Finding(What.GONE, "METRES", "gone", (path,))
    line = list(report([Checked("ASK TIDES", (finding,))], quiet=True))[-1]
    pasted = line.removeprefix("      likely now: ")
    assert pasted.isascii()
    assert tomllib.loads(f'at = "{pasted}"') == {"at": path}
