"""`headrace demo`: the sample session over a real socket, and a gateway that stays up."""

import asyncio
import errno
import re
import signal
import socket
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from demo_site.sample import SAMPLES
from gateway.catalogue.model import Catalogue, Listener
from gateway.commands import demo, wiring
from gateway.commands.demo import ruler
from gateway.service.doors import Bound
from gateway.service.server import Server
from tests.gateway.commands.processes import HEADRACE, PATIENCE, ROOT, headrace


def test_once_shows_the_session_and_ends_with_0(tmp_path: Path) -> None:
    done = headrace("demo", "--once", "--config", "mine.toml", folder=tmp_path)
    said = done.stdout.decode()
    assert (done.returncode, done.stderr) == (0, b"")
    for sample in SAMPLES:
        assert f"> {sample.request}\n" in said
    replies = re.findall(r"^  ([0-9]{3}) [0-9]{5} [0-9]{3} [+.][*SLC.]$", said, re.MULTILINE)
    assert replies == ["200"] * 7 + ["450", "200", "200", "200", "350", "250", "250", *["200"] * 4, "226"]
    assert "[source.tides]" in (tmp_path / "mine.toml").read_text()


def test_offline_is_the_same_but_for_where_and_when(tmp_path: Path) -> None:
    live, offline = (
        headrace("demo", "--once", *option, folder=tmp_path).stdout.decode() for option in ([], ["--offline"])
    )
    varying = re.compile(
        r"^  200 000.. 040 \.\.$|^  (?:FROM|TOOK|REQUEST|        ) .*$|^.*$(?=\n\Z)|20..-..-..", re.MULTILINE
    )
    live = live[: live.index("# A text service")]  # which is in no recording
    shown = [varying.sub("", said[said.index("# What can be asked") :]).split() for said in (live, offline)]
    assert shown[0] == shown[1]
    assert len(shown[0]) > 300
    assert "http://gullmarrow.example:80" in offline


@pytest.mark.parametrize("options", [(), ("--offline",)])
def test_it_overwrites_no_catalogue(options: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_text("# mine\n")
    done = headrace("demo", "--once", *options, "--config", "headrace.toml", folder=tmp_path)
    assert done.returncode == 2
    assert b"cannot write headrace.toml: File exists; name a new file" in done.stderr
    assert (tmp_path / "headrace.toml").read_text() == "# mine\n"


def test_it_stays_up_for_a_client_until_it_is_ended(tmp_path: Path) -> None:
    command = [*HEADRACE, "demo", "--port", "0"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        said = ""
        while "Ctrl-C" not in said:
            said += process.stdout.readline()
        found = re.search(r"The gateway listens at 127\.0\.0\.1:([0-9]+)\.", said)
        assert found
        with socket.create_connection(("127.0.0.1", int(found[1])), timeout=PATIENCE) as client:
            client.sendall(b"ASK tides mole\r")
            assert client.recv(16) == b"200 00008 019 .."
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE) == 0


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        done = headrace("demo", "--offline", "--once", "--port", port, folder=tmp_path)
    assert done.returncode == 1
    assert done.stderr.startswith(b"headrace: cannot listen: ")
    assert done.stderr.endswith(
        b"address already in use; end what listens there, or take another with --port N\n"
    )


async def test_of_two_ports_the_first_that_is_free_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "headrace.toml").write_text("")
    catalogue = wiring.read_catalogue(tmp_path / "headrace.toml")
    parts = wiring.Parts(catalogue, keep_on_disk=False)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        server, bound = await demo._start(catalogue, parts, (port, 0))
        assert bound.port not in (0, port)
        await server.stop()
    server, bound = await demo._start(catalogue, parts, (0, port))
    assert bound.port not in (0, port)
    await server.stop()
    await parts.aclose()

    async def forbidden(catalogue: Catalogue, parts: wiring.Parts, port: int) -> tuple[Server, Bound]:
        assert port == 80
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(demo, "_start_at", forbidden)
    with pytest.raises(PermissionError):  # a port that is not taken but forbidden is no reason to go on
        await demo._start(catalogue, parts, (80, 0))


@pytest.mark.parametrize(("record", "good"), [(b"tides", True), (b"tide", False)])
async def test_a_record_of_another_width_is_no_good_demo(
    record: bytes, good: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "SAMPLES", [replace(SAMPLES[0], lines=())])

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(b"200 00001 005 ..\r\n" + record + b"\r\n")
        writer.close()

    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    async with server:
        host, port = server.sockets[0].getsockname()
        assert await demo._show(Bound(Listener(), host, port), live=True) == good


def test_the_ruler_counts_columns() -> None:
    assert ruler(12) == "----+----1--"
    assert ruler(103)[99] == "0"
    assert all(len(ruler(width)) == width for width in range(1, 256))
