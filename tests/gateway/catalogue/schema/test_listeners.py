"""[[listen]]: hosts, profiles, profiles for addresses, clashes."""

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.model import Listener
from tests.gateway.catalogue.marked import check, load

WRONG = {
    "not a list": "[listen]\n ^^^^^^ [[listen]]\nport = 1",
    "for requests only": '[[listen]]\nspeaks = "modem"\ngreeting = true\n^^^^^^^^\nresume = true\n^^^^^^',
    "port": "[[listen]]\nport = 65536\n       ^^^^^ 65535",
    "host": '[[listen]]\nhost = "a b"\n        ^^^',
    "host with a port": '[[listen]]\nhost = "127.0.0.1:80"\n                ^^^^',
    "profile": '[[listen]]\nprofile = "narow"\n           ^^^^^ narrow\n[profile.narrow]',
    "by_address": '[[listen]]\nby_address = "plain"\n              ^^^^^',
    "by_address by another name": '[[listen]]\nclients = { "192.0.2.7" = "plain" }\n^^^^^^^ by_address',
    "no address": '[[listen]]\nby_address = { "here" = "plain" }\n               ^^^^^^',
    "leading zeros": '[[listen]]\nby_address = { "192.0.2.007" = "plain" }\n               ^^^^^^^^^^^^^',
    "host bits": '[[listen]]\nby_address = { "192.0.2.7/24" = "plain" }\n'
    "               ^^^^^^^^^^^^^^ 192.0.2.0/24",
    "a zone": '[[listen]]\nby_address = { "fe80::1%eth0" = "plain" }\n               ^^^^^^^^^^^^^^ fe80::1',
    "no such profile": '[[listen]]\nby_address = { "192.0.2.7" = "bufer-128" }\n'
    "                              ^^^^^^^^^ buffer-128",
    "no profile at all": '[[listen]]\nby_address = { "192.0.2.7" = ["plain"] }\n'
    "                             ^^^^^^^^^",
    "the same address twice": '[[listen]]\nby_address = { "192.0.2.7" = "plain", "192.0.2.7/32" = "plain" }\n'
    "                                      ^^^^^^^^^^^^^^",
    "the same network twice": '[[listen]]\n[listen.by_address]\n"2001:db8::/32" = "plain"\n'
    '"2001:DB8:0::/32" = "plain"\n^^^^^^^^^^^^^^^^^',
    "the same in the other family": '[[listen]]\nby_address = { "192.0.2.7" = "plain", "::ffff:192.0.2.7" = '
    '"plain" }\n                                      ^^^^^^^^^^^^^^^^^^',
    "resume": "[[listen]]\nresume = 1\n         ^ true",
    "resume_for without it": '[[listen]]\nresume_for = "5m"\n^^^^^^^^^^',
    "resume_for with it off": '[[listen]]\nresume = false\nresume_for = "5m"\n^^^^^^^^^^',
    "resume_for what": '[[listen]]\nresume = true\nresume_for = "5 minutes"\n              ^^^^^^^^^ 5m',
    "resume_for too long": '[[listen]]\nresume = true\nresume_for = "8d"\n              ^^ 604800',
    "a device and a port": '[[listen]]\ndevice = "/dev/ttyUSB0"\nport = 1\n^^^^',
    "a device and addresses": '[[listen]]\ndevice = "/dev/x"\nby_address = {}\n^^^^^^^^^^',
    "one device twice": '[[listen]]\ndevice = "/dev/x"\n[[listen]]\ndevice = "/dev/x"\n          ^^^^^^',
    "speed": '[[listen]]\ndevice = "/dev/x"\nspeed = 9500\n        ^^^^ 9600',
    "a speed without a device": "[[listen]]\nspeed = 9600\n^^^^^",
    "parity": '[[listen]]\ndevice = "/dev/x"\nparity = "evn"\n          ^^^ even',
    "handshake": '[[listen]]\ndevice = "/dev/x"\nhandshake = "rts"\n             ^^^ rtscts',
    "stop bits": '[[listen]]\ndevice = "/dev/x"\nstop_bits = 3\n            ^ 2',
    "speaks": '[[listen]]\nspeaks = "modems"\n          ^^^^^^ modem',
    "the same twice": "[[listen]]\nport = 7\n[[listen]]\nport = 7\n       ^",
    "defaults twice": "[[listen]]\n[[listen]]\n  ^^^^^^",
    "all addresses": '[[listen]]\nport = 7\n[[listen]]\nhost = "0.0.0.0"\nport = 7\n       ^',
    "the same by name": '[[listen]]\nport = 7\n[[listen]]\nhost = "localhost"\nport = 7\n       ^',
}


@pytest.mark.parametrize("snippet", WRONG.values(), ids=WRONG.keys())
def test_mistakes(snippet: str) -> None:
    check(snippet)


def test_none_means_one() -> None:
    assert load("").listeners == (Listener("127.0.0.1", 8128, "PLAIN", greeting=False),)


def test_what_is_read() -> None:
    listeners = load("""
[[listen]]
host = "::1"
port = 0
profile = "NARROW"
greeting = true
[[listen]]
port = 0
[[listen]]
host = "192.0.2.1"
port = 99
[[listen]]
host = "gate.example"
port = 99
[profile.narrow]
""").listeners
    assert listeners == (
        Listener("::1", 0, "NARROW", greeting=True),
        Listener("127.0.0.1", 0),
        Listener("192.0.2.1", 99),
        Listener("gate.example", 99),
    )


def test_what_equal_networks_are_told() -> None:
    (mistake,) = check(WRONG["the same in the other family"])
    assert mistake.found == "::ffff:192.0.2.7, which is 192.0.2.7 once more"
    assert mistake.key.endswith('by_address."::ffff:192.0.2.7"')


TABLE = """
[[listen]]
profile = "cols-80"
[listen.by_address]
"192.0.2.0/24" = "cols-22"
"192.0.2.7" = "buffer-128"
"192.0.2.0/28" = "Mine"
"2001:db8::/32" = "cols-32"
"2001:db8:1::/48" = "paper"
"::/0" = "plain"
[profile.mine]
"""


@pytest.mark.parametrize(
    ("peer", "profile"),
    [
        ("192.0.2.7", "BUFFER-128"),
        ("192.0.2.6", "MINE"),
        ("192.0.2.16", "COLS-22"),
        ("192.0.3.7", "COLS-80"),
        ("::ffff:192.0.2.7", "BUFFER-128"),  # RFC 4291 section 2.5.5.2
        ("::ffff:192.0.3.7", "COLS-80"),
        ("2001:db8:1::5", "PAPER"),
        ("2001:db8:2::5", "COLS-32"),
        ("fe80::1%eth0", "PLAIN"),
        ("", "COLS-80"),
        ("/run/socket", "COLS-80"),
    ],
)
def test_the_narrowest_network_counts(peer: str, profile: str) -> None:
    (listener,) = load(TABLE).listeners
    assert listener.profile_for(peer) == profile


def test_an_ipv4_network_may_be_written_as_ipv6_has_it() -> None:
    (listener,) = load('[[listen]]\nby_address = { "::ffff:192.0.2.0/120" = "cols-22" }').listeners
    assert listener.by_address == ((ipaddress.ip_network("192.0.2.0/24"), "COLS-22"),)
    assert listener.profile_for("192.0.2.200") == "COLS-22"


@given(
    st.lists(st.ip_addresses(v=4).flatmap(lambda it: st.tuples(st.just(it), st.integers(0, 32))), max_size=5)
)
def test_the_order_of_the_file_does_not_matter(pairs: list[tuple[ipaddress.IPv4Address, int]]) -> None:
    """Against the plain definition: of all networks that hold the address, the longest prefix (RFC 4632)."""
    networks = {ipaddress.ip_network((address, length), strict=False) for address, length in pairs}
    named = {network: f"P{number}" for number, network in enumerate(networks)}
    rows = [f'"{network}" = "{name}"\n' for network, name in named.items()]
    text = "[[listen]]\n[listen.by_address]\n{}" + "".join(f"[profile.{name}]\n" for name in named.values())
    one, other = (load(text.format("".join(each))).listeners[0] for each in (rows, rows[::-1]))
    assert one == other
    for address, _ in pairs:
        best = max((each for each in networks if address in each), key=lambda each: each.prefixlen)
        assert one.profile_for(str(address)) == named[best]


def test_resume() -> None:
    text = '[[listen]]\nresume = true\n[[listen]]\nport = 1\nresume = true\nresume_for = "90s"\n'
    kept = [(each.resume, each.resume_for) for each in load(text + "[[listen]]\nport = 2").listeners]
    assert kept == [(True, 600.0), (True, 90.0), (False, 600.0)]
