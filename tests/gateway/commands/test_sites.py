"""`serve` and `say` with a folder of recordings: recorded live, answered offline, byte for byte."""

import errno
import os
import re
import signal
import threading
from argparse import ArgumentParser
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from adapters.recorded.folder import Folder
from gateway.catalogue.model import Catalogue
from gateway.commands import sites, wiring
from gateway.service.logs import Redactor
from gateway.service.sites import Mode
from tests.gateway.commands.processes import headrace, serving
from tests.gateway.commands.test_serve import ask, port_of

CATALOGUE = """
[[listen]]
port = 0
[place.site]
base = "{url}/"
[place.shelf]
base = "{shelf}/"
write = true
[source.n]
url = "{url}/n?which={{which}}"
args = ["which"]
rows = "$[*]"
auth = {{ query = "pier", secret = "env:PIER" }}
[[source.n.field]]
name = "N"
at = "$.n"
kind = "int"
width = 3
"""
KEY = "an-invented-key"
REQUESTS = (
    "ASK n one",
    "ASK n two",
    "PICK site:n $[*] $.n:4i",
    "TEXT site:page",
    "TEXT site:nothing",
    "READ site:page 3 9",
    "LIST shelf:",
    "NAME #1",
    "TEXT shelf:note.txt",
    "READ shelf:note.txt 2 5",
    "COPY site:page shelf:page.txt",
    "RENAME shelf:page.txt shelf:other.txt",
    "LIST shelf:",
    "ERASE shelf:other.txt",
    "MKDIR shelf:new",
    "LIST shelf:new/",
)


@dataclass(frozen=True)
class Stand:
    """A catalogue in `folder`, its far server, and its shelf."""

    folder: Path
    server: HTTPServer

    def lose(self) -> None:
        """The far server is gone, and so is the shelf's folder."""
        self.server.clear()
        self.server.stop()
        for path in (self.folder / "shelf").rglob("*"):
            if path.is_file():
                path.unlink()


@pytest.fixture
def stand(tmp_path: Path) -> Iterator[Stand]:
    with HTTPServer() as server:
        server.expect_request("/n").respond_with_json([{"n": 1}, {"n": 22}])
        server.expect_request("/page").respond_with_data("Some text of a page\n", content_type="text/plain")
        shelf = tmp_path / "shelf"
        shelf.mkdir()
        (shelf / "note.txt").write_text("A note\n")
        text = CATALOGUE.format(url=server.url_for("").rstrip("/"), shelf=shelf.as_uri())
        (tmp_path / "headrace.toml").write_text(text)
        yield Stand(tmp_path, server)


def test_offline_says_what_was_said_live(stand: Stand) -> None:
    live = headrace("say", "--record", "hall", *REQUESTS, folder=stand.folder, PIER=KEY)
    assert live.returncode == 1  # one document is not there
    assert live.stdout.count(b"200 ") >= 10
    stand.lose()
    offline = headrace("say", "--offline", "hall", *REQUESTS, folder=stand.folder)  # without any key
    assert offline.stdout.decode() == live.stdout.decode()
    assert (offline.returncode, offline.stderr) == (1, live.stderr)
    everything = b"".join(path.read_bytes() for path in (stand.folder / "hall").rglob("*") if path.is_file())
    assert KEY.encode() not in everything
    assert b"query pier of http://" in everything  # the list of what was hidden


def test_that_no_answer_came_in_time(stand: Stand) -> None:
    """Whoever sets the time: the adapter, the cache, `say` or a listener."""
    path = stand.folder / "headrace.toml"
    path.write_text(path.read_text().replace("env:PIER", "file:key.txt") + "[gateway]\nwait = 1\n")
    (stand.folder / "key.txt").write_text(KEY)
    over = threading.Event()

    def late(_: Request) -> Response:
        over.wait(20)
        return Response("late")

    stand.server.clear()
    for where in ("/n", "/page", "/pick"):
        stand.server.expect_request(where).respond_with_handler(late)
    requests = ("ASK n one", "TEXT site:page", "READ site:page 0 9", "PICK site:pick -", "LIST shelf:")
    live = headrace("say", "--record", "hall", *requests, folder=stand.folder)
    assert live.stdout.count(b"420 ") == 4
    with serving("--record", "served", folder=stand.folder) as gateway:
        served = ask(port_of(gateway), "\r".join(requests))
        assert gateway.end() == 0
    over.set()
    stand.lose()
    assert served.encode() == live.stdout + b"221 00000 000 ..\r\n"
    for site in ("hall", "served"):
        offline = headrace("say", "--offline", site, *requests, folder=stand.folder)
        assert offline.stdout.decode() == live.stdout.decode()


def test_a_body_that_is_gone_is_the_gateways_own_fault(stand: Stand) -> None:
    headrace(
        "say", "--record", "hall", "TEXT site:page", "TEXT shelf:note.txt", folder=stand.folder, PIER=KEY
    )
    stand.lose()
    with serving("--offline", "hall", folder=stand.folder) as gateway:
        port = port_of(gateway)
        for body in (stand.folder / "hall").rglob("*.txt"):
            body.unlink()
        for request in ("TEXT site:page", "PICK site:page -", "READ site:page 0 3", "TEXT shelf:note.txt"):
            assert ask(port, request).startswith("451 00001 040 ..\r\nThe recording cannot be read ")
        assert gateway.end() == 0
    assert "page.1.txt" in "".join(gateway.said)


def test_sigusr1_is_harmless_whatever_is_done_with_recordings(stand: Stand) -> None:
    (stand.folder / "key.txt").write_text(KEY)
    path = stand.folder / "headrace.toml"
    path.write_text(path.read_text().replace("env:PIER", "file:key.txt"))
    for options, says in (((), "no recordings"), (("--record", "hall"), "recordings not used: 0")):
        with serving(*options, folder=stand.folder) as gateway:
            port = port_of(gateway)
            gateway.process.send_signal(signal.SIGUSR1)
            gateway.wait_for(f"headrace: {says}")
            assert ask(port, "NOOP").startswith("200 ")
            assert gateway.end() == 0


def test_what_cannot_be_read_is_told_by_its_name(stand: Stand) -> None:
    hall = stand.folder / "hall"
    hall.mkdir()
    os.mkfifo(hall / "pipe.toml")
    (hall / "astray.toml").symlink_to("nowhere")
    said = headrace("say", "--offline", "hall", "NOOP", folder=stand.folder)
    assert said.returncode == 2
    assert b"pipe.toml: not an ordinary file\n" in said.stderr
    assert b"astray.toml: No such file or directory\n" in said.stderr


def test_what_was_not_recorded_is_504_and_why_tells_more(stand: Stand) -> None:
    headrace("say", "--record", "hall", "TEXT site:page", folder=stand.folder, PIER=KEY)
    stand.lose()
    said = headrace("say", "--offline", "hall", "TEXT site:pages", "WHY", folder=stand.folder)
    lines = said.stdout.decode().splitlines()
    assert lines[0] == "504 00001 040 .."
    assert lines[1].startswith("Offline: nothing recorded for that")
    assert any(line.startswith("NEAREST  GET http://") for line in lines)
    assert any(line.startswith("DIFFERS  the path: pages") for line in lines)


def test_what_is_missing_is_added_where_the_network_is_there(stand: Stand) -> None:
    headrace("say", "--record", "hall", "TEXT site:page", folder=stand.folder, PIER=KEY)
    requests = ("TEXT site:page", "ASK n one", "LIST shelf:", "MKDIR shelf:never")
    added = headrace("say", "--offline", "hall", "--record-missing", *requests, folder=stand.folder, PIER=KEY)
    stand.lose()
    again = headrace("say", "--offline", "hall", *requests, folder=stand.folder)
    assert again.stdout == added.stdout
    status_lines = [line for line in added.stdout.decode().splitlines() if line.endswith(" ..")]
    assert [line[:3] for line in status_lines] == ["200", "200", "200", "504"]
    assert not (stand.folder / "shelf" / "never").exists()


def test_serve_records_and_serves_offline(stand: Stand) -> None:
    (stand.folder / "key.txt").write_text(KEY)
    path = stand.folder / "headrace.toml"
    path.write_text(path.read_text().replace("env:PIER", "file:key.txt"))
    with serving("--record", "hall", folder=stand.folder) as gateway:
        port = port_of(gateway)
        live = ask(port, "ASK n one\rTEXT site:page\rLIST shelf:")
        assert gateway.end() == 0
    assert gateway.said[0] == "headrace: recording into hall\n"
    assert "query pier of http://" in gateway.said[-1]
    assert gateway.said[-1].endswith("headrace: hall: 3 recordings\n")
    assert KEY not in "".join(gateway.said)
    stand.lose()
    (stand.folder / "key.txt").unlink()
    with serving("--offline", "hall", "--clock", "recorded", folder=stand.folder) as gateway:
        port = port_of(gateway)
        assert ask(port, "ASK n one\rTEXT site:page\rLIST shelf:") == live
        times = {ask(port, "TIME") for _ in range(2)}
        assert len(times) == 1
        whys = {ask(port, "TEXT site:page\rWHY") for _ in range(3)}
        assert len(whys) == 1
        assert ask(port, "TEXT site:pages").startswith("504 ")
        assert gateway.wait_for(
            r"nothing recorded for request=.TEXT site:pages.*nearest=.GET http.*/page. differs="
        )
        gateway.process.send_signal(signal.SIGUSR1)
        assert gateway.wait_for(r"^headrace: recordings not used: 0$")
        assert gateway.end() == 0
    assert re.fullmatch(r"headrace: offline, from hall, at 20[^ ]+Z: 3 recordings\n", gateway.said[0])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--offline", "nowhere"], "no recordings at nowhere"),
        (["--clock", "recorded"], "--clock goes with --offline or --record"),
        (["--record-missing"], "--record-missing goes with --offline"),
        (["--faults", "headrace.toml"], "--faults goes with --offline"),
        (["--offline", "shelf", "--faults", "none"], "cannot read none: No such file"),
        (["--offline", "shelf", "--faults", "headrace.toml"], "headrace.toml: fault: missing"),
        (["--offline", "shelf", "--faults", "junk"], "junk is not UTF-8 (byte 3)"),
        (["--record", "new", "--clock", "recorded"], "nothing is recorded there to take the time from"),
        (["--record", "new", "--clock", "noon"], "'noon' is no time"),
    ],
)
def test_wrong_usage(options: list[str], says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "headrace.toml").write_text("[[listen]]\nport = 0\n")
    (tmp_path / "shelf").mkdir()
    (tmp_path / "junk").write_bytes(b"# \xe9")
    monkeypatch.chdir(tmp_path)
    parser = ArgumentParser()
    wiring.add_config(parser)
    sites.add_options(parser)
    parser.set_defaults(log="error")
    monkeypatch.setattr(sites, "configure", lambda *_: None)
    with pytest.raises(sites.SiteFault, match=re.escape(says)):
        sites.ready(parser.parse_args(options))


def test_a_folder_that_the_disk_does_not_give(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(_: Folder) -> None:
        raise OSError(errno.EIO, "Input/output error", "hall/page.1.toml")

    monkeypatch.setattr(Folder, "load", failing)
    with pytest.raises(
        sites.SiteFault, match=r"^headrace: cannot read hall/page\.1\.toml: Input/output error$"
    ):
        sites.open_site(tmp_path, Mode.RECORD, Catalogue(), Redactor())


def test_a_catalogue_that_is_wrong_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And nothing is made of the folder."""
    parser = ArgumentParser()
    wiring.add_config(parser)
    sites.add_options(parser)
    config, hall = tmp_path / "none.toml", tmp_path / "hall"
    assert sites.ready(parser.parse_args(["--config", str(config), "--record", str(hall)])) is None
    assert capsys.readouterr().err.startswith(f"headrace: no catalogue at {config}")
    assert not hall.exists()


@pytest.mark.parametrize(
    ("text", "stands_at"),
    [
        ("2026-05-17T12:00:00Z", datetime(2026, 5, 17, 12, tzinfo=UTC)),  # RFC 3339
        ("2026-05-17T12:00:00+02:00", datetime(2026, 5, 17, 10, tzinfo=UTC)),
        ("2026-05-17T12:00", datetime(2026, 5, 17, 12, tzinfo=UTC)),
    ],
)
def test_a_time_that_stands(text: str, stands_at: datetime, tmp_path: Path) -> None:
    site = sites.open_site(tmp_path, Mode.RECORD, Catalogue(), Redactor(), clock=text)
    assert site.clock.stands_at == stands_at


def test_a_broken_recording_is_told_by_its_name(stand: Stand) -> None:
    headrace("say", "--record", "hall", "TEXT site:page", folder=stand.folder, PIER=KEY)
    broken = next((stand.folder / "hall").rglob("page.1.toml"))
    broken.write_text(broken.read_text().replace("status = 200", 'status = "fine"'))
    done = headrace("say", "--offline", "hall", "NOOP", folder=stand.folder)
    assert done.returncode == 2
    assert "page.1.toml: response.status" in done.stderr.decode()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--offline", "."), b"headrace.toml: at: missing"),
        (("--offline", ""), b"headrace: --offline and --record want a folder"),
        (("--record", ""), b"headrace: --offline and --record want a folder"),
        (("--record", "hall", "--clock", "9999-12-31T23:59:59-05:00"), b"is no time such as"),
        (("--record", "hall", "--clock", "0001-01-01T00:00:00+05:00"), b"is no time such as"),
    ],
)
def test_clumsy_options(stand: Stand, options: tuple[str, ...], says: bytes) -> None:
    done = headrace("say", *options, "NOOP", folder=stand.folder, PIER=KEY)
    assert done.returncode == 2
    assert says in done.stderr
    assert b"Traceback" not in done.stderr


def test_what_the_disk_did_not_take_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    sites.tell_unkept(0)
    sites.tell_unkept(3)
    assert capsys.readouterr().err == "headrace: 3 exchanges could not be kept\n"
