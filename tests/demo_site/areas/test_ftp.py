"""The demo's FTP server, asked by the standard library's ftplib, which shares no code with it."""

import ftplib
import io
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from demo_site.areas.ftp import FtpArea

USER, PASSWORD = "watchman", "an invented password"


@contextmanager
def logged_in(area: FtpArea) -> Iterator[ftplib.FTP]:
    with ftplib.FTP(timeout=10, encoding="utf-8") as client:
        client.connect("127.0.0.1", urlsplit(area.url).port or 0)
        client.login(USER, PASSWORD)
        yield client


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "deep" / "er").mkdir(parents=True)
    (tmp_path / "note.txt").write_bytes(b"a note\r\n")
    return tmp_path


@pytest.fixture
def area(folder: Path) -> Iterator[FtpArea]:
    with FtpArea(folder, USER, PASSWORD) as running:
        yield running


def test_its_url_is_a_loopback_root(area: FtpArea) -> None:
    assert area.url == f"ftp://127.0.0.1:{urlsplit(area.url).port}/"


def test_a_folder_is_listed_with_facts(area: FtpArea) -> None:
    """RFC 3659 section 7: MLSD with type and size facts."""
    with logged_in(area) as client:
        facts = dict(client.mlsd())
    assert {name: fact["type"] for name, fact in facts.items()} == {"deep": "dir", "note.txt": "file"}
    assert facts["note.txt"]["size"] == "8"


def test_bytes_go_both_ways_and_names_change(area: FtpArea, folder: Path) -> None:
    """RFC 959 section 4.1.3: STOR, APPE, RETR, RNFR and RNTO, DELE, MKD."""
    everything = bytes(range(256))
    with logged_in(area) as client:
        client.storbinary("STOR new.part", io.BytesIO(everything))
        client.rename("new.part", "new.bin")
        client.storbinary("APPE new.bin", io.BytesIO(everything))
        back = bytearray()
        client.retrbinary("RETR new.bin", back.extend)
        client.delete("note.txt")
        client.mkd("made")
    assert back == everything * 2
    assert (folder / "new.bin").read_bytes() == everything * 2
    assert sorted(path.name for path in folder.iterdir()) == ["deep", "made", "new.bin"]


@pytest.mark.parametrize(("user", "password"), [(USER, "wrong"), ("anonymous", "me@host.example")])
def test_nobody_else_is_let_in(area: FtpArea, user: str, password: str) -> None:
    with ftplib.FTP(timeout=10) as client:
        client.connect("127.0.0.1", urlsplit(area.url).port or 0)
        with pytest.raises(ftplib.error_perm, match="530"):
            client.login(user, password)


def test_it_listens_on_loopback_only_and_says_no_version(area: FtpArea) -> None:
    with socket.create_connection(("127.0.0.1", urlsplit(area.url).port or 0), timeout=10) as connection:
        assert connection.recv(100) == b"220 Gullmarrow quay (invented)\r\n"
        assert connection.getpeername()[0] == "127.0.0.1"


def test_two_servers_have_users_of_their_own(area: FtpArea, tmp_path_factory: pytest.TempPathFactory) -> None:
    with (
        FtpArea(tmp_path_factory.mktemp("other"), "other", "word") as other,
        ftplib.FTP(timeout=10) as client,
    ):
        client.connect("127.0.0.1", urlsplit(other.url).port or 0)
        with pytest.raises(ftplib.error_perm, match="530"):
            client.login(USER, PASSWORD)


def test_stopping_leaves_nothing_and_prints_nothing(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A kept login and a data connection half way; a socket left open would be a warning, thus an error."""
    (folder / "big.bin").write_bytes(bytes(50_000_000))
    area = FtpArea(folder, USER, PASSWORD)
    area.__enter__()
    with logged_in(area) as client, client.transfercmd("RETR big.bin") as data:
        assert data.recv(1) == b"\0"
        began = time.monotonic()
        area.__exit__(None, None, None)
        assert time.monotonic() - began < 5
        with pytest.raises((EOFError, OSError)):
            client.voidcmd("NOOP")
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("demo-")]
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", urlsplit(area.url).port or 0), timeout=10)
    assert capfd.readouterr() == ("", "")
