"""trait -> Writer: every kind of machine that `headrace listing` writes for. One line each."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from gateway.listings.assembly.mos6502 import Mos6502
from gateway.listings.assembly.z80 import Z80
from gateway.listings.basic.bput_channel import BputChannel
from gateway.listings.basic.com_channel import ComChannel
from gateway.listings.basic.hash_channel import HashChannel
from gateway.listings.basic.structured import Structured
from gateway.listings.c89 import C89
from gateway.listings.program import Writer

_TABLE: Final[tuple[Writer, ...]] = (
    ComChannel(),
    HashChannel(),
    BputChannel(),
    Structured(),
    C89(),
    Mos6502(),
    Z80(),
)

WRITERS: Final[Mapping[str, Writer]] = MappingProxyType({each.name: each for each in _TABLE})
"""What `--for` takes -> its writer."""
