"""Sockets that a process is started with: sd_listen_fds(3), by systemd's own systemd-socket-activate(1)."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.service.running import inheriting
from gateway.service.running.inheriting import CALLS, Inherited, inherited, told
from gateway.testing.clients.line import Line
from tests.gateway.commands.processes import ENVIRONMENT, HEADRACE, PATIENCE
from tests.gateway.service.callers.callers import Caller, free_port


@pytest.fixture
def listening() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as made:
        yield made


def test_each_is_given_out_once_and_by_address(listening: socket.socket) -> None:
    port = listening.getsockname()[1]
    found = Inherited(others=[listening])
    assert found.take("127.0.0.1", port + 1) == []
    assert found.take("127.0.0.2", port) == []
    assert found.take("127.0.0.1", port) == [listening]
    assert found.take("127.0.0.1", port) == []


def test_one_that_nobody_wants_is_closed_aloud(
    listening: socket.socket, caplog: pytest.LogCaptureFixture
) -> None:
    port = listening.getsockname()[1]
    found = Inherited(by_spot={("127.0.0.1", port, CALLS): [listening]})
    found.close(calls=False)
    assert found.has("127.0.0.1", port, CALLS)
    assert listening.fileno() >= 0
    found.close()
    assert f"port {port}" in caplog.text
    assert listening.fileno() == -1


def test_variables_for_another_process_are_nobodys(listening: socket.socket) -> None:
    variables = {"LISTEN_FDS": "1", "LISTEN_PID": "1", "LISTEN_FDNAMES": "a", "HOME": "/"}
    assert inherited(variables) == Inherited()
    assert variables == {"HOME": "/"}


def test_variables_for_this_process(listening: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    """sd_listen_fds(3): so many descriptors from the first one on, which is 3 but here."""
    copy = os.dup(listening.fileno())
    monkeypatch.setattr(inheriting, "_FIRST", copy)
    found = inherited({"LISTEN_FDS": "1", "LISTEN_PID": str(os.getpid())})
    (taken,) = found.take(*listening.getsockname())
    assert taken.fileno() == copy
    taken.close()


def test_a_host_that_cannot_be_looked_up_has_none(
    listening: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nowhere(*_: object, **__: object) -> None:
        raise OSError("no such name")

    monkeypatch.setattr(socket, "getaddrinfo", nowhere)
    assert Inherited(others=[listening]).take("files.invalid", 80) == []


def test_what_is_handed_over_is_told_by_what_it_was_opened_for(
    listening: socket.socket, caplog: pytest.LogCaptureFixture
) -> None:
    """A descriptor that is something else is left alone."""
    ours, theirs = socket.socketpair()
    other = os.open(os.devnull, os.O_RDONLY)
    pair = ours.fileno()  # a socket, but none that listens
    handed = [os.dup(listening.fileno()), other, pair]
    lent = {"HEADRACE_HANDED": told({("h", 0, 1): handed}, theirs.detach())}
    found = inherited(lent)
    (taken,) = found.take("h", 0, 1)
    assert taken.getsockname() == listening.getsockname()
    for each in (other, pair):
        assert f"descriptor {each} is no socket that listens" in caplog.text
    os.close(other)
    taken.close()
    assert found.tether is not None
    with ours, found.tether:
        found.tether.send(b"x")
        assert ours.recv(2) == b"x"


def test_a_gateway_takes_the_sockets_that_it_is_given(tmp_path: Path) -> None:
    """A listener's and a reserved port's; one that the catalogue does not name is closed aloud."""
    activate = shutil.which("systemd-socket-activate")
    if activate is None:
        pytest.skip("systemd-socket-activate is not installed")
    ports = [free_port() for _ in range(3)]
    (tmp_path / "headrace.toml").write_text(f"[[listen]]\nport = {ports[0]}\n[hear.{ports[1]}]\n")
    asked = [word for port in ports for word in ("--listen", f"127.0.0.1:{port}")]
    passed = [f"--setenv={name}" for name in ("PYTHONPATH", "PYTHONWARNINGS")]
    process = subprocess.Popen(
        [activate, *asked, *passed, *HEADRACE, "serve"], cwd=tmp_path, env=ENVIRONMENT, stderr=subprocess.PIPE
    )
    try:
        assert process.stderr is not None
        until = time.monotonic() + PATIENCE
        line = _when_listening(ports[0], until)  # the first client is what the gateway is started for
        line.send(b"TIME\r", PATIENCE)
        assert line.take_until(b"\r\n", until).startswith(b"200 00001")
        line.send(f"HEAR {ports[1]}\r".encode(), PATIENCE)
        line.take_until(b"150 00000 000 ..\r\n", until)
        caller = Caller(ports[1])
        line.take_until(b"127.0.0.1", until)
        caller.hang_up()
        line.close()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", ports[2]), PATIENCE)
    finally:
        process.send_signal(signal.SIGTERM)
        said = process.communicate(timeout=PATIENCE)[1].decode()
    assert process.returncode == 0, said
    assert f"does not name: 127.0.0.1 port {ports[2]}" in said
    assert f"listening on 127.0.0.1:{ports[0]}" in said


def _when_listening(port: int, until: float) -> Line:
    while True:
        try:
            return Line("127.0.0.1", port, PATIENCE)
        except OSError:
            assert time.monotonic() < until
            time.sleep(0.05)
