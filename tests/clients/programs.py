"""What the client programs of demo_site/clients print, whichever BASIC runs them."""

from pathlib import Path

import demo_site

CLIENTS = Path(demo_site.__file__).parent / "clients"

PRINTED = [
    # From demo_site/files/tides/north-mole.json by hand: the town's clock is UTC+1, halves round away from
    # zero (1.005, 3.245), a missing height is ?, a null one is none.
    "00:48   0.85",
    "06:57   3.10",
    "13:21   1.01",
    "19:34   3.25",
    "01:49  -0.04",
    "07:58   none",
    "14:22      ?",
    "20:30   3.30",
    "END OF TIDES",
]


def asking(program: str, words: str) -> str:
    """The text of a client program that sends `words` instead of ASK TIDES MOLE."""
    text = (CLIENTS / program).read_text("ascii")
    assert text.count("ASK TIDES MOLE") == 1
    return text.replace("ASK TIDES MOLE", words)
