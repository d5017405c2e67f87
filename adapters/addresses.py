"""host, port and Reach -> the addresses that may be dialled, or NotAllowed.

CONTRACT section 4: origins that the catalogue names may be anywhere; every other one, such as a
redirect's, must be public on the address dialled, unless `allow` lists the address, a network or the host.
Every adapter that opens connections asks here, then dials the very addresses that it was given: a second
look-up could answer otherwise.

What is public is decided by the tables below, not by the Python at hand, whose `is_global` changes between
patch releases and takes multicast, 6to4 and NAT64 addresses for global.
"""

import re
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from ipaddress import (
    IPv4Address,
    IPv4Network,
    IPv6Address,
    IPv6Network,
    ip_address,
    ip_network,
)
from typing import Final

from adapters import limits
from adapters.errors import CannotConnect, NotAllowed
from adapters.port import Origin, Reach

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

Resolver = Callable[[str, int], Awaitable[Sequence[str]]]
"""A host name and a port -> addresses as text, in the order to try them, or CannotConnect."""

_NOT_PUBLIC_V4: Final = tuple(
    IPv4Network(network)
    for network in (
        "0.0.0.0/8",  # this network, unspecified (RFC 791)
        "10.0.0.0/8",  # private (RFC 1918)
        "100.64.0.0/10",  # shared by carriers (RFC 6598)
        "127.0.0.0/8",  # loopback (RFC 1122)
        "169.254.0.0/16",  # link-local (RFC 3927)
        "172.16.0.0/12",  # private (RFC 1918)
        "192.0.0.0/24",  # protocol assignments (RFC 6890); its two global anycasts serve no documents
        "192.0.2.0/24",  # documentation (RFC 5737)
        "192.88.99.0/24",  # 6to4 relays, withdrawn (RFC 7526)
        "192.168.0.0/16",  # private (RFC 1918)
        "198.18.0.0/15",  # benchmarking (RFC 2544)
        "198.51.100.0/24",  # documentation (RFC 5737)
        "203.0.113.0/24",  # documentation (RFC 5737)
        "224.0.0.0/4",  # multicast (RFC 5771)
        "240.0.0.0/4",  # reserved, with limited broadcast (RFC 1112, RFC 919)
    )
)
"""The IANA IPv4 special-purpose address registry (RFC 6890), and multicast."""

_GLOBAL_UNICAST: Final = IPv6Network("2000::/3")
"""All of IPv6 that IANA gives out (RFC 4291 section 2.4); the rest, with ULA, link-local, multicast,
site-local, segment routing (5f00::/16) and local NAT64 (64:ff9b:1::/48, RFC 8215), is not public."""

_NOT_PUBLIC_V6: Final = tuple(
    IPv6Network(network)
    for network in (
        "2001::/23",  # protocol assignments (RFC 2928): Teredo, benchmarking, ORCHID and their like
        "2001:db8::/32",  # documentation (RFC 3849)
        "2002::/16",  # 6to4 (RFC 3056), which carries any IPv4 address inside
        "3fff::/20",  # documentation (RFC 9637)
    )
)
"""The parts of 2000::/3 in the IANA IPv6 special-purpose address registry that hosts do not live in."""

_NAT64: Final = IPv6Network("64:ff9b::/96")  # RFC 6052 section 2.1: the last 32 bits are an IPv4 address

_NUMBER: Final = re.compile(r"0[xX][0-9a-fA-F]+|[0-9]+", re.ASCII)


def _number(text: str) -> int | None:
    """One part of a numeric IPv4 host: decimal, octal after a 0, hexadecimal after 0x."""
    if _NUMBER.fullmatch(text) is None or len(text) > 40:
        return None
    try:
        if text[:2].lower() == "0x":
            return int(text[2:], 16)
        return int(text, 8) if text[0] == "0" else int(text)
    except ValueError:  # 08 and 09 are no octal numbers
        return None


def _numeric_v4(host: str) -> IPv4Address | None:
    """1 to 4 numbers, the last of which fills the bytes that are left, as inet_aton(3) reads them."""
    parts = host.split(".")
    if len(parts) > 4:
        return None
    numbers = [_number(part) for part in parts]
    value = 0
    for number in numbers[:-1]:
        if number is None or number > 255:
            return None
        value = value << 8 | number
    last, room = numbers[-1], 8 * (5 - len(parts))
    if last is None or last >= 1 << room:
        return None
    return IPv4Address(value << room | last)


def literal_address(host: str) -> Address | None:
    """The address that a host spells out, or None for a name.

    Takes IPv6 with or without brackets, IPv4 in every form that inet_aton(3) takes (`127.1`,
    `0x7f.1`, `2130706433`, `0177.0.0.1`), and one trailing dot. An IPv4-mapped IPv6 address
    (RFC 4291 section 2.5.5.2) is the IPv4 address that it would reach.
    """
    bare = host.removesuffix(".")
    if bare.startswith("[") and bare.endswith("]"):
        bare = bare[1:-1]
    if ":" not in bare:
        return _numeric_v4(bare)
    try:
        address = IPv6Address(bare)
    except ValueError:
        return None
    return address.ipv4_mapped or address


def plain_address(text: str) -> Address | None:
    """The address of a peer: without a zone (RFC 4007), and as IPv4 what is only mapped (RFC 4291 section
    2.5.5.2). None for no address.
    """
    try:
        address = ip_address(text.partition("%")[0])
    except ValueError:
        return None
    return address.ipv4_mapped or address if isinstance(address, IPv6Address) else address


def canonical_host(host: str) -> str:
    """One spelling for each host: lower case, no trailing dot, addresses in their shortest usual form."""
    address = literal_address(host)
    return str(address) if address is not None else host.lower().removesuffix(".")


def _judged(address: Address) -> Address:
    """The address that a connection would end at, where the address itself tells (RFC 6052)."""
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped is not None:
            return address.ipv4_mapped
        if address in _NAT64:
            return IPv4Address(int(address) & 0xFFFF_FFFF)
    return address


def is_public(address: Address) -> bool:
    """Whether anybody on the internet could be meant: the strict reading of the IANA registries."""
    judged = _judged(address)
    if isinstance(judged, IPv4Address):
        return not any(judged in network for network in _NOT_PUBLIC_V4)
    if judged.scope_id is not None:
        return False
    return judged in _GLOBAL_UNICAST and not any(judged in network for network in _NOT_PUBLIC_V6)


@dataclass(frozen=True, slots=True)
class Guard:
    """Which addresses one origin may turn out to have: any, or public ones and those in `networks`."""

    anywhere: bool = False
    networks: tuple[Network, ...] = ()

    def permits(self, address: Address) -> bool:
        """Whether a connection may be opened to it."""
        if self.anywhere or is_public(address):
            return True
        return any(each in network for network in self.networks for each in (address, _judged(address)))


@lru_cache(maxsize=256)
def guard_for(reach: Reach, host: str, port: int) -> Guard:
    """The rule for one origin. A name in `allow` stands for that host on every port, wherever it is."""
    names: set[str] = set()
    networks: list[Network] = []
    for entry in reach.allow:
        literal = literal_address(entry)
        try:
            networks.append(ip_network(entry if literal is None else literal, strict=False))
        except ValueError:
            names.add(canonical_host(entry))
    origin = canonical_host(host), port
    named: set[Origin] = {(canonical_host(name), number) for name, number in reach.named}
    return Guard(anywhere=origin in named or origin[0] in names, networks=tuple(networks))


async def permitted_addresses(host: str, port: int, guard: Guard, resolve: Resolver) -> tuple[Address, ...]:
    """The addresses to dial, in order, at most limits.ADDRESSES.

    A host that is an address is not looked up. One refused address refuses them all: a name that mixes
    public and private addresses is how a look-up is abused to reach into a network.
    NotAllowed where one is refused, CannotConnect where the name has none.
    """
    literal = literal_address(host)
    if literal is not None:
        found: tuple[Address, ...] = (literal,)
    else:
        found = tuple(_dialled(text) for text in await resolve(host, port))
    if not found:
        raise CannotConnect("No such host")
    if not all(guard.permits(address) for address in found):
        raise NotAllowed("Not allowed to go to that address")
    return tuple(dict.fromkeys(found))[: limits.ADDRESSES]


def _dialled(text: str) -> Address:
    try:
        address = ip_address(text)
    except ValueError as error:
        raise CannotConnect("No such host") from error
    return address.ipv4_mapped or address if isinstance(address, IPv6Address) else address
