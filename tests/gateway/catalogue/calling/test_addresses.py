"""Absolute URLs and hosts, against urllib and ipaddress."""

import ipaddress
import urllib.parse

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.catalogue.calling.addresses import PORTS, Url, is_literal_host, read_host, split_url
from gateway.catalogue.document.mistakes import TextFault


@pytest.mark.parametrize(
    ("text", "url"),
    [
        ("https://a.example/x?y=1", Url("https", "a.example", 443, "/x?y=1")),
        ("HTTP://A.Example:8080", Url("http", "a.example", 8080, "")),
        ("ftp://a.example.", Url("ftp", "a.example", 21, "")),
        ("http://[2001:DB8:0::1]:81/", Url("http", "2001:db8::1", 81, "/")),
        ("http://192.0.2.1", Url("http", "192.0.2.1", 80, "")),
        ("http://a.example/é", Url("http", "a.example", 80, "/%C3%A9")),
        ("ftps://a.example/", Url("ftps", "a.example", 21, "/")),  # RFC 4217: explicit TLS on FTP's own port
        ("tcp://a.example:7", Url("tcp", "a.example", 7, "")),
        ("file:///srv/x", Url("file", "", None, "/srv/x")),
        ("file://localhost/srv/x", Url("file", "", None, "/srv/x")),
        ("dav://a_b.example", Url("dav", "a_b.example", 80, "")),
    ],
)
def test_parts(text: str, url: Url) -> None:
    assert split_url(text) == url
    assert split_url(url.text) == url


WRONG = [
    ("a.example/x", 0, 11),
    ("https:/a.example", 0, 16),
    ("gopher://a.example/", 0, 6),
    ("https://", 8, 1),
    ("https:///x", 8, 1),
    ("https://me@a.example/", 8, 3),
    ("https://me:p@w@a.example/", 8, 7),
    ("https://a.example@evil.example/", 8, 10),
    ("https://a.example\\@evil.example/", 8, 11),
    ("https://a.example\\.evil.example/", 10, 8),
    ("https://a example/", 8, 9),
    ("https://a..example/", 8, 10),
    ("https://-a.example/", 8, 2),
    ("https://a.example:/", 18, 1),
    ("https://a.example:0/", 18, 1),
    ("https://a.example:65536/", 18, 5),
    ("https://a.example:٣/", 18, 1),
    ("https://1.2.3/", 8, 5),
    ("https://2130706433/", 8, 10),
    ("https://0x7f.1/", 8, 6),
    ("https://127.0.0.0x1/", 8, 11),
    ("https://010.0.0.1/", 8, 9),
    ("https://[::1/", 8, 1),
    ("https://[1.2.3.4]/", 8, 9),
    ("https://bücher.example/", 8, 14),
    ("https://a.example/x y", 19, 1),
    ("https://a.example/x\ty", 19, 1),
    ("https://a.example/%zz", 18, 1),
    ("file://host/x", 7, 4),
    ("tcp://a.example", 6, 9),
]


@pytest.mark.parametrize(("text", "start", "length"), WRONG)
def test_what_is_refused_and_where(text: str, start: int, length: int) -> None:
    with pytest.raises(TextFault) as caught:
        split_url(text)
    assert (caught.value.start, caught.value.length) == (start, length)


@given(
    st.sampled_from(["http", "https", "ftp"]),
    st.text(st.sampled_from("abz019.-_@:[]\\/?#%"), max_size=20),
)
def test_the_host_is_the_one_that_urllib_sees(scheme: str, rest: str) -> None:
    """Where it is taken at all: two readers that differ over a URL are how a guard is passed."""
    text = f"{scheme}://{rest}"
    try:
        url = split_url(text)
    except TextFault:
        return
    other = urllib.parse.urlsplit(text)
    assert other.username is None
    assert (other.hostname or "").removesuffix(".") in {url.host, f"[{url.host}]"}
    assert (other.port or PORTS[scheme]) == url.port


@given(st.ip_addresses())
def test_addresses_come_out_in_their_usual_form(
    address: ipaddress.IPv4Address | ipaddress.IPv6Address,
) -> None:
    text = f"[{address.exploded}]" if address.version == 6 else str(address)
    assert read_host(text) == str(address)
    assert is_literal_host(read_host(text))


def test_a_host_beyond_ascii_tells_its_ascii_form() -> None:
    """RFC 3490 section 4.1, by Python's own codec."""
    with pytest.raises(TextFault) as caught:
        read_host("bücher.example")
    assert caught.value.near == "xn--bcher-kva.example"


def test_origins() -> None:
    assert split_url("https://A.example/x").origin == ("a.example", 443)
    assert split_url("file:///x").origin is None


def test_literal_hosts() -> None:
    assert is_literal_host("localhost")
    assert not is_literal_host("a.example")


def test_a_host_name_has_at_most_253_characters() -> None:
    """RFC 1035 section 2.3.4: 255 octets, of which its lengths and the root take two."""
    name = ".".join(["a" * 50] * 5)[:253]
    assert read_host(name[:253]) == name
    with pytest.raises(TextFault, match="too long"):
        read_host("b" * (254 - len(name)) + name)
