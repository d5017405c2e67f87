"""What each answer and failure is to httpx 0.28 (the reference client), and what a gateway makes of it."""

import errno
import os
import socket
import ssl
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import httpx
import pytest

from gateway.testing.stage import Stage
from gateway.testing.upstream.answers import FAILURES, Route
from gateway.testing.upstream.certificates import CERTIFICATES
from gateway.testing.upstream.server import Upstream
from tests.gateway.testing.harbour import CATALOGUE, MOLE, ORIGIN, RECORDS, with_ca

PATH = "/mole.json"


def fetched(url: str, **options: object) -> httpx.Response:
    with httpx.Client(trust_env=False, timeout=0.3, follow_redirects=True, max_redirects=5) as client:
        return client.get(url)


def raises(kind: type[Exception], saying: str | None = None) -> Callable[[str], None]:
    def check(url: str) -> None:
        with pytest.raises(kind, match=saying):
            fetched(url)

    return check


def says(status: int, **fields: str) -> Callable[[str], None]:
    def check(url: str) -> None:
        answer = fetched(url)
        assert answer.status_code == status
        assert (
            fields.items() <= {name.replace("-", "_"): each for name, each in answer.headers.items()}.items()
        )

    return check


def short_of_its_body(url: str) -> None:
    answer = fetched(url)
    assert answer.status_code == 200
    with pytest.raises(ValueError, match=r"Unterminated|Expecting"):
        answer.json()


SEEN: dict[str, tuple[Callable[[str], None], int, int]] = {
    # what httpx sees; the code of CONTRACT section 2 for what only asks; for what changes something
    "slow": (raises(httpx.ReadTimeout), 420, 558),
    "silent": (raises(httpx.ReadTimeout), 420, 558),
    "cut": (raises(httpx.RemoteProtocolError, "without sending complete message body"), 426, 558),
    "reset": (raises(httpx.ReadError), 426, 558),
    "malformed_status": (raises(httpx.RemoteProtocolError, "illegal status line"), 551, 558),
    "malformed_chunk": (raises(httpx.RemoteProtocolError, "illegal chunk header"), 426, 558),
    "wrong_length": (short_of_its_body, 551, 558),
    "asked_too_often": (says(429, retry_after="30"), 429, 429),
    "failing": (says(500), 450, 558),
    "redirect_loop": (raises(httpx.TooManyRedirects), 551, 558),
}


def test_every_failure_is_seen_here() -> None:
    assert set(SEEN) == set(FAILURES)


@pytest.fixture
def far(stage: Stage) -> Upstream:
    return stage.upstreams()


@pytest.mark.parametrize("name", sorted(FAILURES))
def test_from_outside(far: Upstream, name: str) -> None:
    far.on(PATH).fail(name)
    SEEN[name][0](far.url + PATH)
    assert far.count(PATH) >= 1


def test_what_a_gateway_answers(stage: Stage, far: Upstream) -> None:
    gateway = stage.gateways(CATALOGUE, instead={ORIGIN: far.url}, wait=0.6)
    asking, telling = {}, {}
    for name in FAILURES:  # each has its path: a gateway leaves a failing document alone for a while
        far.on(f"/{name}.json").fail(name)
        asking[name] = stage.clients(gateway).ask(f"ASK TIDES {name}")
        far.on("/book").fail(name)
        telling[name] = stage.clients(gateway).ask("TELL BOOK", ["a line"])
    assert {name: reply.status for name, reply in asking.items()} == {
        name: seen[1] for name, seen in SEEN.items()
    }
    assert {name: reply.status for name, reply in telling.items()} == {
        name: seen[2] for name, seen in SEEN.items()
    }
    assert asking["asked_too_often"].records[0].endswith(" 30")


def test_answers_come_in_order_and_the_last_stays(far: Upstream) -> None:
    far.on(PATH).status(503, retry_after=7).json(MOLE).text("later", headers={"X-Tide": "low"})
    assert fetched(far.url + PATH).headers["Retry-After"] == "7"
    answer = fetched(far.url + PATH)
    assert (answer.json(), answer.headers["Content-Type"]) == (MOLE, "application/json")
    for _ in range(2):
        answer = fetched(far.url + PATH)
        assert (answer.text, answer.headers["X-Tide"]) == ("later", "low")
    far.on(PATH).redirect("/elsewhere")
    far.on("/elsewhere").data(b"\x00\xff")
    assert fetched(far.url + PATH).content == b"\x00\xff"
    assert fetched(far.url + "/untold").status_code == 404
    far.on("/not-told-yet")
    assert fetched(far.url + "/not-told-yet").status_code == 404


def test_it_shows_what_it_was_asked(far: Upstream) -> None:
    far.on("/book").status(204)
    with httpx.Client(trust_env=False) as client:
        client.post(far.url + "/book?day=1&day=2", content=b"whole", headers={"X-Who": "a test"})
        client.put(far.url + "/book", content=iter([b"in ", b"chunks"]))
        assert client.head(far.url + "/book").content == b""
    whole, chunked, head = far.requests
    assert (whole.method, whole.path, whole.query, whole.body) == ("POST", "/book", "day=1&day=2", b"whole")
    assert (whole.header("x-who"), whole.header("none")) == ("a test", None)
    assert (chunked.method, chunked.body, head.method) == ("PUT", b"in chunks", "HEAD")
    assert (far.count(), far.count("/book"), far.count("/")) == (3, 3, 0)
    assert far.connections == 1


def test_requests_can_be_waited_for(far: Upstream) -> None:
    far.on(PATH).silent()
    with socket.create_connection(("127.0.0.1", far.port)) as line:
        line.sendall(b"GET /mole.json HTTP/1.1\r\nHost: tides.example\r\n\r\n")
        (request,) = far.wait_for(1)
    assert request.header("host") == "tides.example"
    with pytest.raises(AssertionError, match=r"1 of 2 requests came within 0\.01 s"):
        far.wait_for(2, timeout=0.01)


@pytest.mark.parametrize(
    "sent",
    [
        b"no request line\r\n\r\n" * 2,
        b"GET / HTTP/1.1\r\nX: " + b"x" * 100_000 + b"\r\n\r\n",
        b"POST / HTTP/1.1\r\nContent-Length: many\r\n\r\n",
        b"POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n",
        b"POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\nfffffffff\r\n",
        b"GET / HT",
    ],
    ids=["words", "head", "length", "negative", "chunk", "cut"],
)
def test_what_is_no_request_ends_the_connection(far: Upstream, sent: bytes) -> None:
    with socket.create_connection(("127.0.0.1", far.port), timeout=5) as line:
        line.sendall(sent)
        line.shutdown(socket.SHUT_WR)
        with suppress(ConnectionResetError):  # its bytes were not all read
            assert line.recv(100) == b""
    assert far.requests == ()


@pytest.mark.parametrize(("sent", "came"), [(None, b'{"level'), (4, b'{"le')])
def test_a_reset_in_the_middle_of_a_body(far: Upstream, sent: int | None, came: bytes) -> None:
    """Half of it, or as much as is told."""
    far.on(PATH).reset(b'{"level": 3.1}', sent)
    got = bytearray()
    with socket.create_connection(("127.0.0.1", far.port), timeout=5) as line:
        line.sendall(b"GET /mole.json HTTP/1.1\r\nHost: tides.example\r\n\r\n")
        with pytest.raises(ConnectionResetError):
            while data := line.recv(1_000):
                got += data
    head, _, body = bytes(got).partition(b"\r\n\r\n")
    assert b"Content-Length: 14" in head
    assert body == came


def test_chunks_may_have_trailer_fields(far: Upstream) -> None:
    """RFC 9112 section 7.1.2."""
    far.on("/book").status(204)
    with socket.create_connection(("127.0.0.1", far.port), timeout=5) as line:
        line.sendall(b"POST /book HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n")
        line.sendall(b"2\r\nab\r\n0\r\nX-Sum: 2\r\nX-End: yes\r\n\r\n")
        assert line.recv(100).startswith(b"HTTP/1.1 204")
    assert far.requests[0].body == b"ab"


def test_a_delay_and_a_drip(far: Upstream) -> None:
    far.on(PATH).text("drip", delay=0.02, drip=0.01)
    before = time.monotonic()
    with httpx.Client(trust_env=False) as client:
        for _ in range(2):
            assert client.get(far.url + PATH).text == "drip"
    assert time.monotonic() - before >= 0.1
    assert far.connections == 1, "it is kept"


def test_it_refuses_and_takes_again(stage: Stage, far: Upstream) -> None:
    far.on(PATH).json(MOLE)
    gateway = stage.gateways(CATALOGUE, instead={ORIGIN: far.url})
    client = stage.clients(gateway)
    assert client.ask("ASK TIDES mole").records == RECORDS
    for _ in range(2):
        far.refuse()
        far.refuse()
        with pytest.raises(httpx.ConnectError, match="refused"):
            fetched(far.url)
        assert client.ask("ASK TIDES mole").status == 425
        far.accept()
        far.accept()
        assert client.ask("ASK TIDES mole").status == 200


def test_who_is_in_the_middle_of_a_handshake_is_refused_too(stage: Stage) -> None:
    """The connection was there before, but TLS had not begun."""
    far = stage.upstreams("good")
    far.on(PATH).json(MOLE)
    context = ssl.create_default_context(cafile=str(far.ca))
    with socket.create_connection(("127.0.0.1", far.port), timeout=5) as line:
        with httpx.Client(verify=context, trust_env=False) as client:  # the next, so that `line` is let in
            assert client.get(far.url + PATH).json() == MOLE
        far.refuse()
        with (
            pytest.raises((OSError, EOFError)),
            context.wrap_socket(line, server_hostname="127.0.0.1") as safe,
        ):
            safe.sendall(b"GET /mole.json HTTP/1.1\r\nHost: tides.example\r\n\r\n")
            if not safe.recv(100):
                raise EOFError
    assert (far.count(), far.connections) == (1, 1)


def test_a_port_that_somebody_took_while_it_refused(far: Upstream, monkeypatch: pytest.MonkeyPatch) -> None:
    """The test is told, and no socket stays."""

    def taken(*_: object) -> None:
        raise OSError(errno.EADDRINUSE, os.strerror(errno.EADDRINUSE))

    def descriptors() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    before = descriptors()
    monkeypatch.setattr(socket.socket, "bind", taken)
    with pytest.raises(OSError, match="Address already in use"):
        far.refuse()
    monkeypatch.undo()
    assert descriptors() == before - 1, "it listens no more"


@pytest.mark.parametrize(
    ("certificate", "saying", "status"),
    [
        ("good", "", 200),
        ("expired", "certificate has expired", 554),
        ("other-host", "IP address mismatch", 554),
        ("stranger", "signature failure|self-signed|unable to get local issuer", 554),
    ],
)
def test_certificates(stage: Stage, certificate: str, saying: str, status: int) -> None:
    far = stage.upstreams(certificate)
    far.on(PATH).json(MOLE)
    context = ssl.create_default_context(cafile=str(far.ca))
    with httpx.Client(verify=context, trust_env=False) as client:
        if saying:
            with pytest.raises(httpx.ConnectError, match=saying):
                client.get(far.url + PATH)
        else:
            assert client.get(far.url + PATH).json() == MOLE
    gateway = stage.gateways(with_ca(far.ca), instead={ORIGIN: far.url})
    assert stage.clients(gateway).ask("ASK TIDES mole").status == status
    assert far.count() == (0 if saying else 2)


def test_a_name_that_is_no_failure_or_certificate(stage: Stage) -> None:
    with pytest.raises(ValueError, match="no failure 'late'; there are slow silent cut"):
        Route("/").fail("late")
    with pytest.raises(ValueError, match=" ".join(CERTIFICATES)):
        stage.upstreams("fine")


def test_nothing_is_left_of_it() -> None:
    far = Upstream()
    far.on("/").silent()
    line = socket.create_connection(("127.0.0.1", far.port), timeout=5)
    line.sendall(b"GET / HTTP/1.1\r\n\r\n")
    far.wait_for(1)
    far.stop()
    far.stop()
    with line, suppress(ConnectionResetError):
        assert line.recv(1) == b""
    assert "headrace-upstream" not in {each.name for each in threading.enumerate()}
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", far.port), timeout=5)


def test_a_body_comes_with_its_head(far: Upstream) -> None:
    """With Nagle's algorithm on, each of these takes 40 ms longer on Linux (a delayed acknowledgement)."""
    far.on("/").text("body")
    with socket.create_connection(("127.0.0.1", far.port), 5) as line:
        begun = time.monotonic()
        for _ in range(20):
            line.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
            while not line.recv(1_000).endswith(b"body"):
                pass
        assert time.monotonic() - begun < 0.6
