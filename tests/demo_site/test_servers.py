"""The served demo, over real sockets on loopback."""

import http.client
import json
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest

from adapters import limits
from demo_site.documents import read_documents
from demo_site.servers import DemoServers
from demo_site.site import Site

TIDES = read_documents()["tides/north-mole.json"]


@pytest.fixture
def servers(tmp_path: Path) -> Iterator[DemoServers]:
    with DemoServers(tmp_path) as running:
        yield running


def port(url: str) -> int:
    found = urlsplit(url).port
    assert found is not None
    return found


def raw(servers: DemoServers, request: bytes) -> bytes:
    """Everything that comes back on one plain connection, whose sending side is then closed."""
    with socket.create_connection(("127.0.0.1", port(servers.http_url)), timeout=10) as connection:
        connection.sendall(request)
        connection.shutdown(socket.SHUT_WR)
        return b"".join(iter(lambda: connection.recv(65_536), b""))


def demo_threads() -> set[threading.Thread]:
    return {thread for thread in threading.enumerate() if thread.name.startswith("demo-")}


def test_urls_are_loopback_origins(servers: DemoServers) -> None:
    for url, scheme in ((servers.http_url, "http"), (servers.https_url, "https")):
        assert url == f"{scheme}://127.0.0.1:{port(url)}"


def test_documents_come_over_http(servers: DemoServers) -> None:
    response = httpx.get(f"{servers.http_url}/tides/north-mole.json", trust_env=False)
    assert response.status_code == 200
    assert response.content == TIDES.body
    assert response.headers["Content-Type"] == "application/json"
    assert "Server" not in response.headers
    assert response.headers["Date"].endswith(" GMT")  # RFC 9110 section 6.6.1


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
def test_documents_come_over_https_that_the_ca_file_verifies(
    servers: DemoServers, version: ssl.TLSVersion
) -> None:
    context = ssl.create_default_context(cafile=str(servers.ca_file))
    context.minimum_version = context.maximum_version = version
    assert context.verify_mode is ssl.CERT_REQUIRED
    assert context.check_hostname
    request = b"GET /tides/north-mole.json HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
    for host in ("127.0.0.1", "localhost"):
        plain = socket.create_connection(("127.0.0.1", port(servers.https_url)), timeout=10)
        with context.wrap_socket(plain, server_hostname=host) as connection:
            connection.sendall(request)
            answer = b"".join(iter(lambda: connection.recv(65_536), b""))
        assert answer.startswith(b"HTTP/1.1 200 ")
        assert answer.endswith(TIDES.body)


def test_without_the_ca_file_the_certificate_is_refused(servers: DemoServers) -> None:
    context = ssl.create_default_context()
    connection = http.client.HTTPSConnection(
        "127.0.0.1", port(servers.https_url), context=context, timeout=10
    )
    with pytest.raises(ssl.SSLCertVerificationError):
        connection.request("GET", "/")
    connection.close()
    # The refused handshake harms nobody.
    assert httpx.get(servers.http_url, trust_env=False).status_code == 200


def test_each_authority_is_its_own(servers: DemoServers, tmp_path_factory: pytest.TempPathFactory) -> None:
    with DemoServers(tmp_path_factory.mktemp("other")) as others:
        assert others.ca_file.read_bytes() != servers.ca_file.read_bytes()
        context = ssl.create_default_context(cafile=str(servers.ca_file))
        connection = http.client.HTTPSConnection(
            "127.0.0.1", port(others.https_url), context=context, timeout=10
        )
        with pytest.raises(ssl.SSLCertVerificationError):
            connection.request("GET", "/")
        connection.close()


def test_the_folder_gets_the_certificate_and_no_private_key(servers: DemoServers, tmp_path: Path) -> None:
    assert [path.name for path in tmp_path.iterdir()] == ["demo-ca.pem"]
    assert b"PRIVATE" not in servers.ca_file.read_bytes()


def test_a_connection_is_kept(servers: DemoServers) -> None:
    """RFC 9112 section 9.3: persistent unless told otherwise; 304, HEAD and errors leave it in step."""
    connection = http.client.HTTPConnection("127.0.0.1", port(servers.http_url), timeout=10)
    connection.connect()
    first = connection.sock
    steps = [
        ("GET", "/tides/north-mole.json", {}, 200),
        ("GET", "/tides/north-mole.json", {"If-None-Match": TIDES.etag}, 304),
        ("HEAD", "/tides/north-mole.json", {}, 200),
        ("GET", "/nowhere", {}, 404),
        ("DELETE", "/", {}, 405),
        ("GET", "/tides/north%2Dmole.json?unused=1", {}, 200),
    ]
    for method, target, headers, status in steps:
        connection.request(method, target, headers=headers)
        response = connection.getresponse()
        body = response.read()
        assert response.status == status
        assert connection.sock is first
    assert body == TIDES.body
    connection.close()


def test_pipelined_requests_are_answered_in_order(servers: DemoServers) -> None:
    """RFC 9112 section 9.3.2."""
    answer = raw(
        servers, b"GET /harbour/busy HTTP/1.1\r\nHost: x\r\n\r\nGET /nowhere HTTP/1.1\r\nHost: x\r\n\r\n"
    )
    assert answer.index(b"HTTP/1.1 503 ") < answer.index(b"HTTP/1.1 404 ")


def test_scores_are_posted_over_http_and_seen_over_https(servers: DemoServers) -> None:
    context = ssl.create_default_context(cafile=str(servers.ca_file))
    with httpx.Client(verify=context, trust_env=False) as client:
        posted = client.post(f"{servers.http_url}/club/scores", data={"name": "MOLE", "points": "8200"})
        assert posted.status_code == 201
        assert posted.json()["entry"]["rank"] == 2
        seen = client.get(f"{servers.https_url}/club/scores").json()["scores"]
        assert {"rank": 2, "name": "MOLE", "points": 8200} in seen
    servers.site.reset()
    assert len(servers.site.scores.table()) == 5


@pytest.mark.parametrize(
    ("head", "status"),
    [
        (b"Transfer-Encoding: chunked", 411),  # RFC 9112 section 6.3
        (b"Content-Length: -1", 400),
        (b"Content-Length: 5x", 400),
        (b"Content-Length: %d" % (limits.DEMO_BODY_BYTES + 1), 413),
        (b"Content-Length: " + b"9" * 5_000, 413),
    ],
)
def test_a_body_that_cannot_be_read_ends_the_connection(
    servers: DemoServers, head: bytes, status: int
) -> None:
    request = b"POST /club/scores HTTP/1.1\r\nHost: x\r\n" + head + b"\r\n\r\n"
    answer = raw(servers, request + b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 %d " % status)
    assert answer.count(b"HTTP/1.1 ") == 1
    assert b"\r\nConnection: close\r\n" in answer


def test_a_body_cut_short_is_never_acted_on(servers: DemoServers) -> None:
    """RFC 9112 section 8: an incomplete message is not a request."""
    body = b'{"name": "CUT", "points": 1}'
    head = b"POST /club/scores HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    assert raw(servers, head + b"Content-Length: 99\r\n\r\n" + body) == b""
    assert all(score.name != "CUT" for _, score in servers.site.scores.table())


@pytest.mark.parametrize(
    "rubbish", [b"\x16\x03\x01\x00\x05hello", b"GET\r\n\r\n", b"\x00" * 2_000 + b"\r\n\r\n", b""]
)
def test_rubbish_leaves_the_server_standing(
    servers: DemoServers, rubbish: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    raw(servers, rubbish)
    with socket.create_connection(("127.0.0.1", port(servers.https_url)), timeout=10) as connection:
        connection.sendall(rubbish)
    response = httpx.get(f"{servers.http_url}/club/scores", trust_env=False)
    assert json.loads(response.content)["scores"]
    assert capfd.readouterr() == ("", "")  # logs are silent


def test_a_client_that_never_finishes_its_handshake_holds_nobody_up(servers: DemoServers) -> None:
    context = ssl.create_default_context(cafile=str(servers.ca_file))
    address = ("127.0.0.1", port(servers.https_url))
    with socket.create_connection(address), socket.create_connection(address):
        assert httpx.get(servers.https_url, verify=context, trust_env=False, timeout=10).status_code == 200


def test_stopping_leaves_no_thread_and_no_socket(tmp_path: Path) -> None:
    """Idle kept connections, half-made TLS and all; a socket left open would be a warning, thus an error."""
    before = demo_threads()
    with DemoServers(tmp_path) as servers:
        ports = [port(servers.http_url), port(servers.https_url)]
        context = ssl.create_default_context(cafile=str(servers.ca_file))
        kept = httpx.Client(verify=context, trust_env=False)
        assert kept.get(servers.http_url).status_code == 200
        assert kept.get(servers.https_url).status_code == 200
        silent = [socket.create_connection(("127.0.0.1", each), timeout=10) for each in ports]
        deadline = time.monotonic() + 10
        while len(demo_threads() - before) < 6 and time.monotonic() < deadline:
            time.sleep(0.01)
        assert len(demo_threads() - before) == 6  # two that accept, four with a client each
        began = time.monotonic()
    assert time.monotonic() - began < 5
    assert demo_threads() <= before
    for connection in silent:
        assert connection.recv(1) == b""
        connection.close()
    kept.close()
    for each in ports:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", each), timeout=10)


def test_an_object_can_be_entered_again_with_the_same_site(tmp_path: Path) -> None:
    site = Site()
    servers = DemoServers(tmp_path, site)
    before = demo_threads()
    for _ in range(2):
        with servers:
            assert httpx.get(servers.http_url, trust_env=False).status_code == 200
            assert servers.site is site
    assert demo_threads() <= before


def test_an_error_inside_the_context_still_stops_the_servers(tmp_path: Path) -> None:
    before = demo_threads()
    with pytest.raises(KeyboardInterrupt), DemoServers(tmp_path):
        raise KeyboardInterrupt
    assert demo_threads() <= before
