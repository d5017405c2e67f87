"""`headrace doctor --live`, at real servers on loopback, with real certificates (trustme)."""

import ssl
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
import trustme

from gateway.commands import doctor_live
from gateway.commands.findings import Finding, Patient
from gateway.commands.wiring import read_catalogue
from tests.gateway.commands.processes import headrace
from tests.gateway.service.callers.callers import free_port

NO_CLOCK = -1.0


class Server:
    """One that tells its time, `ahead` of ours; `asked` is what it was asked for."""

    def __init__(self, ahead: float, context: ssl.SSLContext | None = None) -> None:
        asked: list[str] = []

        class Handler(BaseHTTPRequestHandler):
            def do_HEAD(self) -> None:
                asked.append(f"{self.command} {self.path}")
                self.send_response_only(404)
                if ahead != NO_CLOCK:
                    now = datetime.now(UTC) + timedelta(seconds=ahead)
                    self.send_header("Date", format_datetime(now, usegmt=True))
                self.end_headers()

        self.asked = asked
        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        if context is not None:
            self.server.socket = context.wrap_socket(self.server.socket, server_side=True)
        self.url = f"http{'s' if context else ''}://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()


@pytest.fixture
def servers() -> Iterator[list[Server]]:
    made: list[Server] = []
    yield made
    for each in made:
        each.close()


def found(folder: Path, urls: list[str], days: float = 0.0, keys: str = "") -> list[Finding]:
    """What is wrong with those places, so many days from now."""
    text = "".join(f'[place.p{number}]\nbase = "{url}/"\n{keys}' for number, url in enumerate(urls))
    (folder / "headrace.toml").write_text(text)
    now = datetime.now(UTC).timestamp() + days * 86_400
    return list(doctor_live.web(Patient(read_catalogue(folder / "headrace.toml"), folder, now)))


def secured(folder: Path, ends: datetime) -> ssl.SSLContext:
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "own.pem"))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1", not_after=ends).configure_cert(context)
    return context


def test_a_web_server_is_asked_once_and_its_clock_agrees(tmp_path: Path, servers: list[Server]) -> None:
    servers += [Server(3.0), Server(NO_CLOCK)]
    assert found(tmp_path, [each.url for each in servers]) == []
    assert [each.asked for each in servers] == [["HEAD /"]] * 2


@pytest.mark.parametrize(
    ("ahead", "said", "caution"),
    [
        ((-600.0, -600.0, 0.0), "600 seconds ahead of what 2 of 3 far servers say", False),
        ((7_200.0, 0.0, 0.0), "7200 seconds behind what 1 of 3 far servers say", True),
    ],
)
def test_clocks_apart(
    ahead: tuple[float, ...], said: str, caution: bool, tmp_path: Path, servers: list[Server]
) -> None:
    """Where most say so, it is ours (RFC 9110 section 6.6.1: servers with a clock send Date)."""
    servers += [Server(each) for each in ahead]
    (one,) = found(tmp_path, [each.url for each in servers])
    seconds = said.split(" ", 1)
    assert seconds[1] in one.why
    assert abs(float(one.why.split("it is ")[1].split(" ")[0]) - float(seconds[0])) <= 2
    assert one.caution is caution


def test_certificates_that_end_soon_or_are_not_taken(tmp_path: Path, servers: list[Server]) -> None:
    ends = datetime.now(UTC) + timedelta(days=100)
    servers.append(Server(0.0, secured(tmp_path, ends)))
    url = servers[0].url
    assert found(tmp_path, [url], keys='ca = "own.pem"\n') == []
    (soon,) = found(tmp_path, [url], days=80.0, keys='ca = "own.pem"\n')
    assert soon.caution
    assert soon.why in {"its certificate ends in 19 days", "its certificate ends in 20 days"}
    (unknown,) = found(tmp_path, [url])
    assert not unknown.caution
    assert "its certificate is not taken (unable to get local issuer certificate)" in unknown.line
    (other,) = found(tmp_path, [url.replace("127.0.0.1", "localhost")], keys='ca = "own.pem"\n')
    assert "is not taken (Hostname mismatch, certificate is not valid for 'localhost')" in other.line


def test_a_server_that_is_not_there(tmp_path: Path) -> None:
    (one,) = found(tmp_path, [f"http://127.0.0.1:{free_port()}"])
    assert one.caution
    assert "it cannot be reached" in one.line


def test_sources_count_and_templates_of_hosts_and_other_protocols_do_not(
    tmp_path: Path, servers: list[Server]
) -> None:
    servers.append(Server(0.0))
    (tmp_path / "headrace.toml").write_text(
        f'[place.a]\nbase = "ftp://127.0.0.1:{free_port()}/"\n'
        f'[source.s]\nurl = "{servers[0].url}/v1/{{x}}"\nargs = ["x"]\n'
        '[[source.s.field]]\nname = "A"\nat = "$.a"\nwidth = 3\n'
        '[source.t]\nurl = "http://{h}/v1"\nargs = ["h"]\nchoices = { h = { a = "127.0.0.1" } }\n'
        '[[source.t.field]]\nname = "A"\nat = "$.a"\nwidth = 3\n'
    )
    done = headrace("doctor", "--live", folder=tmp_path)
    assert (done.returncode, done.stdout) == (0, b"Nothing to be done.\n")
    assert servers[0].asked == ["HEAD /"]


def test_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By this machine's own name alone; a name that leads nowhere is played (RFC 6761 section 6.4)."""

    def findings(text: str) -> list[Finding]:
        (tmp_path / "headrace.toml").write_text(text)
        return list(doctor_live.names(Patient(read_catalogue(tmp_path / "headrace.toml"), tmp_path, 0.0)))

    def nowhere(*_: object, **__: object) -> None:
        raise OSError("no such name")

    assert not findings('[place.a]\nbase = "ftp://localhost/"\n')
    monkeypatch.setattr("gateway.commands.doctor_live.getaddrinfo", nowhere)
    (one,) = findings('[place.a]\nbase = "ftp://files.invalid/"\n[place.b]\nbase = "ftp://192.0.2.1/"\n')
    assert "files.invalid: it cannot be looked up (no such name)" in one.line
