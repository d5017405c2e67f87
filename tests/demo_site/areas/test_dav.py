"""The demo's WebDAV folder, asked by httpx and read with the standard library's XML parser."""

import socket
import threading
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest

from demo_site.areas.dav import DavArea

USER, PASSWORD = "clerk", "an invented password"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "deep" / "er").mkdir(parents=True)
    (tmp_path / "note.txt").write_bytes(b"a note\r\n")
    return tmp_path


@pytest.fixture
def area(folder: Path) -> Iterator[DavArea]:
    with DavArea(folder, USER, PASSWORD) as running:
        yield running


@pytest.fixture
def client(area: DavArea) -> Iterator[httpx.Client]:
    base = area.url.replace("dav://", "http://")
    with httpx.Client(base_url=base, auth=(USER, PASSWORD), trust_env=False) as client:
        yield client


def test_its_url_is_a_loopback_root(area: DavArea) -> None:
    assert area.url == f"dav://127.0.0.1:{urlsplit(area.url).port}/"


def test_a_folder_is_listed(client: httpx.Client) -> None:
    """RFC 4918 section 9.1: PROPFIND with Depth 1 gives the folder and its members."""
    answer = client.request("PROPFIND", "/", headers={"Depth": "1"})
    assert answer.status_code == 207
    hrefs = [each.text for each in ElementTree.fromstring(answer.content).iter("{DAV:}href")]
    assert sorted(hrefs, key=str) == ["/", "/deep/", "/note.txt"]


def test_documents_are_written_moved_copied_and_removed(client: httpx.Client, folder: Path) -> None:
    """RFC 4918 sections 9.3 to 9.9, and a range of RFC 9110 section 14."""
    everything = bytes(range(256))
    base = str(client.base_url)
    assert client.put("/new.bin", content=everything).status_code == 201
    assert client.get("/new.bin", headers={"Range": "bytes=10-19"}).content == everything[10:20]
    assert client.request("MKCOL", "/made/").status_code == 201
    moved = client.request("MOVE", "/new.bin", headers={"Destination": f"{base}made/moved.bin"})
    assert moved.status_code == 201
    copied = client.request("COPY", "/made/moved.bin", headers={"Destination": f"{base}copy.bin"})
    assert copied.status_code == 201
    assert client.delete("/note.txt").status_code == 204
    assert (folder / "made" / "moved.bin").read_bytes() == (folder / "copy.bin").read_bytes() == everything
    assert not (folder / "note.txt").exists()


def test_nobody_else_is_let_in(area: DavArea) -> None:
    """RFC 7617."""
    base = area.url.replace("dav://", "http://")
    for auth in (None, (USER, "wrong"), ("other", PASSWORD)):
        answer = httpx.request("PROPFIND", base, auth=auth, headers={"Depth": "0"}, trust_env=False)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Basic ")


def test_its_folders_have_no_pages_and_its_header_no_version(client: httpx.Client) -> None:
    answer = client.get("/")
    assert answer.status_code == 403
    assert answer.headers["Server"] == "Gullmarrow"


def test_stopping_leaves_nothing_and_prints_nothing(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A kept connection, a silent one and rubbish; a socket left open would be a warning, thus an error."""
    with DavArea(folder, USER, PASSWORD) as area:
        address = ("127.0.0.1", urlsplit(area.url).port or 0)
        base = area.url.replace("dav://", "http://")
        with httpx.Client(auth=(USER, PASSWORD), trust_env=False) as kept:
            assert kept.get(f"{base}note.txt").content == b"a note\r\n"
            with socket.create_connection(address), socket.create_connection(address) as rude:
                rude.sendall(b"\x16\x03\x01 rubbish\r\n\r\n")
                began = time.monotonic()
                area.__exit__(None, None, None)
                assert time.monotonic() - began < 5
    assert not [thread for thread in threading.enumerate() if "demo-" in thread.name or "CP " in thread.name]
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(address, timeout=10)
    assert capfd.readouterr() == ("", "")
