"""URLs of streams: scheme, host and port, and nothing behind them."""

import pytest

from adapters.errors import WrongWords
from adapters.stream.locations import Server, located


@pytest.mark.parametrize(
    ("url", "server", "text"),
    [
        ("tcp://wire.example:7", Server("tcp", "wire.example", 7), "tcp://wire.example:7"),
        ("TLS://Wire.Example.:7000", Server("tls", "wire.example", 7000), "tls://wire.example:7000"),
        ("telnet://wire.example", Server("telnet", "wire.example", 23), "telnet://wire.example:23"),
        ("telnet://wire.example:2323", Server("telnet", "wire.example", 2323), "telnet://wire.example:2323"),
        ("udp://192.0.2.1:53", Server("udp", "192.0.2.1", 53), "udp://192.0.2.1:53"),
        ("tcp://[2001:DB8::1]:65535", Server("tcp", "2001:db8::1", 65_535), "tcp://[2001:db8::1]:65535"),
    ],
)
def test_urls(url: str, server: Server, text: str) -> None:
    assert located(url) == server
    assert str(server) == text
    assert server.origin == (server.host, server.port)


@pytest.mark.parametrize(
    "url",
    [
        "tcp://wire.example",  # only telnet has a usual port (IANA)
        "tls://wire.example",
        "udp://wire.example",
        "tcp://wire.example:0",
        "tcp://wire.example:65536",
        "tcp://wire.example:7/",
        "tcp://wire.example:7?x",
        "tcp://user@wire.example:7",
        "tcp://:7",
        "tcp://[::1:7",
        "tcp://wire.example:7\n",
        "tcp://w\u00efre.example:7",
        "http://wire.example:80",
        "wire.example:7",
        "",
    ],
)
def test_no_urls(url: str) -> None:
    with pytest.raises(WrongWords):
        located(url)
