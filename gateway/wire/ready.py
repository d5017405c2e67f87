"""trait -> Settings: the ready profiles, each named for what a machine can or cannot take.

They are there without a catalogue, for SET and for listeners; a catalogue's own profile of the same name
goes before. The table in DEVELOPERS.md is made from READY.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from gateway.wire.settings import Settings, change


@dataclass(frozen=True, slots=True)
class Ready:
    """One ready profile: the trait that needs it, and its settings as SET would take them."""

    name: str  # upper case
    trait: str
    words: str

    @property
    def settings(self) -> Settings:
        """What it comes to."""
        pairs = (word.partition("=") for word in self.words.split())
        return change(Settings(), [(key, value) for key, _, value in pairs])


_TABLE: Final = (
    Ready("CAPS-ONLY", "screen and keyboard have capitals only", "case=upper typed=lower"),
    Ready(
        "CASE-SWAP",
        "the character set has capitals and small letters the other way round; lines end in CR",
        "charset=caseswap eol=cr",
    ),
    Ready(
        "COMMA-SPLIT",
        "the input statement splits at commas and colons, takes quotes for its own and drops leading blanks",
        "guard=on mark=on",
    ),
    Ready(
        "STRING-80",
        "a line read into a string stops at 80 characters",
        "most=80 guard=on mark=on",
    ),
    Ready("NINE-B", "a line ends in 9Bh, and strings are dimensioned", "eol=9b"),
    Ready("SEVEN-BIT", "the line carries seven bits, the eighth is parity", "bits=7"),
    Ready(
        "BUFFER-128",
        "the receive buffer holds 127 bytes, nothing holds the line back: two lines of 60 and their ends",
        "most=60 window=2",
    ),
    Ready(
        "BUFFER-256",
        "the receive buffer holds 255 bytes, nothing holds the line back: three lines of 80 and their ends",
        "most=80 window=3",
    ),
    Ready(
        "POLLED",
        "no buffer and no interrupt: the program waits for each byte, and needs its time after each line",
        "eol=cr window=1",
    ),
    Ready(
        "XON-XOFF",
        "the machine sends 13h when its buffer fills and 11h when there is room (with the pace of its line)",
        "flow=xon",
    ),
    Ready(
        "NOISY-LINE",
        "the line garbles characters: each line can be checked, and asked for again",
        "check=crc window=8 telnet=off",
    ),
    Ready("COLS-22", "the screen is 22 columns wide", "cols=22"),
    Ready("COLS-32", "the screen is 32 columns wide", "cols=32"),
    Ready("COLS-80", "the screen is 80 columns wide", "cols=80"),
    Ready(
        "PAPER",
        "a printing terminal of ten characters a second, whose carriage needs time to come back",
        "cols=72 case=upper pace=10 gap=200",
    ),
)

READY: Final[Mapping[str, Ready]] = MappingProxyType({each.name: each for each in _TABLE})

PROFILES: Final[Mapping[str, Settings]] = MappingProxyType(
    {"PLAIN": Settings(), **{each.name: each.settings for each in _TABLE}}
)
"""The profiles that there are without a catalogue."""
