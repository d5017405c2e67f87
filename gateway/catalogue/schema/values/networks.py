"""A network as text -> Network; a table by addresses -> what counts for which, the narrowest first."""

import ipaddress
from collections.abc import Callable
from typing import Final

from gateway.catalogue.document.positions import Path
from gateway.catalogue.model import Network
from gateway.catalogue.schema.table import Table

_MAPPED: Final = ipaddress.IPv6Network("::ffff:0:0/96")  # RFC 4291 section 2.5.5.2
_FORM: Final = "an address or a network such as 192.0.2.7, 192.0.2.0/24 or 2001:db8::/32"
At = Callable[[Path, str, str, str], None]
"""Report.at_key or Report.at_value."""


def read_by_address(
    table: Table, key: str, known: Callable[[Path, str], str | None]
) -> tuple[tuple[Network, str], ...]:
    """The most specific network first, so that the first that fits is the one. `known` is given the path of a
    name and the name, and gives it as it is kept, or None.
    """
    found: dict[Network, tuple[str, str]] = {}
    for path, text, name in table.text_table(key):
        kept = known(path, name)
        network = _network(table.report.at_key, path, text)
        if network is None:
            continue
        if network in found:
            what = f"{text}, which is {found[network][0]} once more"
            table.report.at_key(path, what, "each address or network once")
        else:
            found[network] = (text, kept or "")
    pairs = [(network, name) for network, (_, name) in found.items()]
    return tuple(sorted(pairs, key=lambda each: (-each[0].prefixlen, each[0].version, each[0])))


def read_networks(table: Table, key: str) -> tuple[Network, ...]:
    """A list of addresses and networks."""
    read = (_network(table.report.at_value, path, text) for path, text in table.texts(key))
    return tuple(each for each in read if each is not None)


def _network(report: At, path: Path, text: str) -> Network | None:
    bare, zone, _ = text.partition("%")  # RFC 4007 section 11
    try:
        network = ipaddress.ip_network(bare, strict=False)
    except ValueError:
        report(path, "no address and no network", _FORM, "")
        return None
    fault = f"{text}, which has a zone" if zone else ""
    try:
        ipaddress.ip_network(bare)
    except ValueError:
        fault = fault or f"{text}, which has host bits set"
    if fault:
        near = network.network_address if network.num_addresses == 1 else network
        report(path, fault, _FORM, str(near))
        return None
    if isinstance(network, ipaddress.IPv6Network) and network.subnet_of(_MAPPED):
        address = network.network_address.ipv4_mapped
        assert address is not None
        return ipaddress.IPv4Network((address, network.prefixlen - _MAPPED.prefixlen))
    return network
