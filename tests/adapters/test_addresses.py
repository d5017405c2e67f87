"""Which addresses may be dialled. Nothing here is ever connected to."""

import ipaddress
import socket
from collections.abc import Sequence

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from adapters import limits
from adapters.addresses import (
    Guard,
    canonical_host,
    guard_for,
    is_public,
    literal_address,
    permitted_addresses,
    plain_address,
)
from adapters.errors import CannotConnect, NotAllowed
from adapters.port import Reach

PUBLIC = (
    "1.1.1.1",
    "8.8.8.8",
    "100.63.255.255",
    "100.128.0.1",
    "172.15.0.1",
    "172.32.0.1",
    "192.0.1.1",
    "198.17.0.1",
    "198.20.0.1",
    "223.255.255.255",
    "2606:4700::1111",
    "2a00:1450::1",
    "2001:4860:4860::8888",
    "::ffff:8.8.8.8",
    "64:ff9b::8.8.8.8",
)

# IANA special-purpose address registries (RFC 6890 and the RFCs named there), first and last addresses
REFUSED = (
    *("0.0.0.0", "0.255.255.255"),
    *("10.0.0.0", "10.255.255.255"),
    *("100.64.0.0", "100.127.255.255"),
    *("127.0.0.1", "127.255.255.255"),
    *("169.254.0.0", "169.254.169.254"),
    *("172.16.0.0", "172.31.255.255"),
    *("192.0.0.1", "192.0.0.255", "192.0.2.1", "192.88.99.1", "192.168.0.1"),
    *("198.18.0.1", "198.19.255.255", "198.51.100.1", "203.0.113.1"),
    *("224.0.0.1", "239.255.255.255", "240.0.0.1", "255.255.255.255"),
    *("::", "::1", "::127.0.0.1", "::ffff:127.0.0.1", "::ffff:10.0.0.1", "::ffff:0:127.0.0.1"),
    *("64:ff9b::127.0.0.1", "64:ff9b::192.168.1.1", "64:ff9b:1::8.8.8.8", "64:ff9b:1::1"),
    *("100::1", "2001::1", "2001:2::1", "2001:10::1", "2001:20::1", "2001:30::1", "2001:db8::1"),
    *("2002:7f00:1::1", "2002:808:808::1", "3fff::1", "5f00::1", "4000::1"),
    *("fc00::1", "fd00::1", "fe80::1", "fe80::1%1", "2606:4700::1111%1", "fec0::1", "ff02::1", "ff0e::1"),
)


@pytest.mark.parametrize("text", PUBLIC)
def test_public(text: str) -> None:
    assert is_public(ipaddress.ip_address(text))
    assert Guard().permits(ipaddress.ip_address(text))


@pytest.mark.parametrize("text", REFUSED)
def test_refused(text: str) -> None:
    assert not is_public(ipaddress.ip_address(text))
    assert not Guard().permits(ipaddress.ip_address(text))
    assert Guard(anywhere=True).permits(ipaddress.ip_address(text))


# Global by RFC 6890's registries, though IANA keeps them for special services: refused all the same
STRICTER = [ipaddress.ip_network(text) for text in ("192.0.0.0/24", "2001::/23", "192.88.99.0/24")]


@given(
    st.integers(0, 2**32 - 1).map(ipaddress.IPv4Address)
    | st.integers(0, 2**128 - 1).map(ipaddress.IPv6Address)
)
@example(ipaddress.IPv6Address("2002::1"))
def test_what_python_calls_private_is_never_public(
    address: ipaddress.IPv4Address | ipaddress.IPv6Address,
) -> None:
    """Python's ipaddress as a second opinion; ours is the stricter one (6to4, NAT64, multicast)."""
    if is_public(address):
        embedded = getattr(address, "ipv4_mapped", None)
        if address.version == 6 and address in ipaddress.ip_network("64:ff9b::/96"):
            embedded = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        judged = embedded or address
        assert judged.is_global
        assert not (judged.is_multicast or judged.is_reserved or judged.is_loopback or judged.is_unspecified)


# inet_aton(3) is the reference: what it takes, a resolver would turn into an address
NUMERIC = {
    "127.0.0.1": "127.0.0.1",
    "127.1": "127.0.0.1",
    "127.0.1": "127.0.0.1",
    "0x7f.1": "127.0.0.1",
    "0X7F.0x0.0x0.0x1": "127.0.0.1",
    "0177.0.0.01": "127.0.0.1",
    "2130706433": "127.0.0.1",
    "017700000001": "127.0.0.1",
    "0x7f000001": "127.0.0.1",
    "0": "0.0.0.0",
    "10.258": "10.0.1.2",
    "127.1.": "127.0.0.1",
    "127.0.0.1.": "127.0.0.1",
    "[::1]": "::1",
    "::1": "::1",
    "[::ffff:127.0.0.1]": "127.0.0.1",
    "::ffff:7f00:1": "127.0.0.1",
    "0:0:0:0:0:0:0:1": "::1",
}


@pytest.mark.parametrize(("host", "address"), NUMERIC.items())
def test_addresses_in_disguise(host: str, address: str) -> None:
    assert str(literal_address(host)) == address
    assert canonical_host(host) == address


@pytest.mark.parametrize(
    "host",
    [
        *(
            "",
            ".",
            "example",
            "example.",
            "1.2.3.4.5",
            "256.1.1.1",
            "1.2.3.256",
            "1..2",
            "08",
            "0x",
            "1.2.3.",
        ),
        *("127.0.0.1..", "4294967296", "1e3", "١٢٧.1", "0b1", "1_0", "-1", "+1", " 1", "9" * 5000),
        *("::g", "[::1", "fe80::1%%"),
    ],
)
def test_what_is_no_address(host: str) -> None:
    found = literal_address(host)
    try:
        reference = socket.inet_aton(host.removesuffix("."))
    except (OSError, UnicodeError):
        assert found is None or ":" in host
    else:
        assert found is None or found.packed == reference


_part = st.sampled_from(["{}", "0{:o}", "0x{:x}", "{:03d}"]).flatmap(
    lambda form: st.sampled_from([0, 1, 8, 127, 255, 256, 65535, 65536, 2**24, 2**32 - 1, 2**32]).map(
        form.format
    )
)


@given(st.lists(_part, min_size=1, max_size=5).map(".".join))
def test_numbers_are_read_as_inet_aton_reads_them(host: str) -> None:
    """The C library's inet_aton(3)."""
    try:
        reference = socket.inet_aton(host)
    except OSError:
        assert literal_address(host) is None
    else:
        found = literal_address(host)
        assert found is not None
        assert found.packed == reference


def guard(
    host: str, port: int = 80, *, named: Sequence[tuple[str, int]] = (), allow: Sequence[str] = ()
) -> Guard:
    return guard_for(Reach(named=frozenset(named), allow=tuple(allow)), host, port)


def test_a_named_origin_may_be_anywhere() -> None:
    assert guard("files.example", named=[("files.example", 80)]).anywhere
    assert not guard("files.example", 81, named=[("files.example", 80)]).anywhere
    assert not guard("other.example", named=[("files.example", 80)]).anywhere


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("FILES.example", "files.example"),
        ("files.example.", "files.example"),
        ("127.1", "127.0.0.1"),
        ("[::1]", "0::1"),
    ],
)
def test_spellings_of_one_host_are_one(host: str, name: str) -> None:
    assert guard(host, named=[(name, 80)]).anywhere
    literal = literal_address(host)
    allowed = guard(host, allow=[name])
    assert allowed.anywhere if literal is None else allowed.permits(literal)


def test_what_allow_takes() -> None:
    address = ipaddress.ip_address
    allowed = guard(
        "x.example", allow=["10.1.0.0/16", "192.168.1.7", "fd00::/8", "10.2.0.9/16", "nas.example"]
    )
    assert not allowed.anywhere
    for text in ("10.1.2.3", "192.168.1.7", "fd12::1", "10.2.3.4", "64:ff9b::10.1.2.3", "8.8.8.8"):
        assert allowed.permits(address(text)), text
    for text in ("10.3.0.1", "192.168.1.8", "fe80::1", "127.0.0.1"):
        assert not allowed.permits(address(text)), text
    assert guard("NAS.example", 5000, allow=["nas.example"]).anywhere


class Names:
    """A resolver that knows a few names and counts the questions."""

    def __init__(self, **names: Sequence[str]) -> None:
        self.names = names
        self.asked: list[str] = []

    async def __call__(self, host: str, port: int) -> Sequence[str]:
        self.asked.append(host)
        return self.names[host]


async def test_a_name_is_looked_up_once_and_keeps_its_order() -> None:
    names = Names(site=["2606:4700::1111", "8.8.8.8", "8.8.8.8", "1.1.1.1"])
    found = await permitted_addresses("site", 80, Guard(), names)
    assert [str(address) for address in found] == ["2606:4700::1111", "8.8.8.8", "1.1.1.1"]
    assert names.asked == ["site"]


@pytest.mark.parametrize("other", REFUSED)
async def test_one_refused_address_refuses_the_name(other: str) -> None:
    for answer in ([other], ["8.8.8.8", other], [other, "8.8.8.8"]):
        with pytest.raises(NotAllowed):
            await permitted_addresses("site", 80, Guard(), Names(site=answer))


@pytest.mark.parametrize("host", [host for host in NUMERIC if host != "0"])
async def test_a_literal_is_judged_without_a_look_up(host: str) -> None:
    names = Names()
    if not is_public(ipaddress.ip_address(NUMERIC[host])):
        with pytest.raises(NotAllowed):
            await permitted_addresses(host, 80, Guard(), names)
    assert [str(each) for each in await permitted_addresses(host, 80, Guard(anywhere=True), names)] == [
        NUMERIC[host]
    ]
    assert names.asked == []


async def test_a_mapped_answer_is_dialled_as_what_it_means() -> None:
    found = await permitted_addresses("site", 80, Guard(), Names(site=["::ffff:8.8.8.8"]))
    assert found == (ipaddress.ip_address("8.8.8.8"),)


@pytest.mark.parametrize("answer", [[], ["nonsense"], [""]])
async def test_a_name_without_addresses(answer: list[str]) -> None:
    with pytest.raises(CannotConnect, match="No such host"):
        await permitted_addresses("site", 80, Guard(), Names(site=answer))


async def test_all_addresses_are_judged_but_not_all_are_tried() -> None:
    many = [f"8.8.{number}.8" for number in range(limits.ADDRESSES + 5)]
    assert len(await permitted_addresses("site", 80, Guard(), Names(site=many))) == limits.ADDRESSES
    with pytest.raises(NotAllowed):
        await permitted_addresses("site", 80, Guard(), Names(site=[*many, "127.0.0.1"]))


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),  # RFC 4291 section 2.5.5.2
        ("2001:db8::7", "2001:db8::7"),
        ("fe80::1%eth0", "fe80::1"),  # RFC 4007
        ("::1", "::1"),
        ("", "None"),
        ("a name", "None"),
    ],
)
def test_peers(text: str, address: str) -> None:
    assert str(plain_address(text)) == address
