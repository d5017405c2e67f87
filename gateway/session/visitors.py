"""a client's address -> who it is, as long as nobody logs in."""

import ipaddress
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from adapters.addresses import plain_address

_IPV6_HOME: Final = 64  # bits of the network that one site's machines share (RFC 6177 section 2)


@dataclass(frozen=True, slots=True)
class Visitor:
    """Whoever is at the line. `address` is empty at a serial device; `rights` is the name of a [rights.NAME],
    asked anew each time, and empty for everything.
    """

    address: str = ""
    rights: Callable[[], str] = str

    @property
    def account(self) -> str:
        """The name that its requests are counted under; no member has such a one."""
        return f"from {home_of(self.address)}"


NOBODY: Final = Visitor()


def home_of(address: str) -> str:
    """What counts as one caller: an IPv4 address, also a mapped one (RFC 4291 section 2.5.5.2); of IPv6 the
    network that one site has; of anything else the text.
    """
    found = plain_address(address)
    if found is None or isinstance(found, ipaddress.IPv4Address):
        return address if found is None else str(found)
    return str(ipaddress.ip_network((found, _IPV6_HOME), strict=False).network_address)
