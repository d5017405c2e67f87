"""WARC 1.1 (ISO 28500:2017) as warcio, the reference library, reads and checks it; and the way back."""

import hashlib
from base64 import b32encode
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from warcio.archiveiterator import ArchiveIterator
from warcio.checker import Checker

from adapters.recorded.exchange import Asked, Content, Exchange, Message
from gateway.archives.messages import Store
from gateway.archives.warc.reading import read_warc
from gateway.archives.warc.writing import write_warc
from tests.adapters.recorded.exchanges import NOON, exchanges, got, sized


class Arguments:
    """What warcio's own `check` command is called with."""

    inputs: list[str]
    verbose = False
    cmd = "check"

    def __init__(self, *names: str) -> None:
        self.inputs = list(names)


def checked(path: Path) -> int:
    """The exit code of warcio's checker, which compares every digest."""
    checker = Checker(Arguments(str(path)))
    checker.process_all()
    code: int = checker.exit_value
    return code


def written(path: Path, kept: list[Exchange], *, squeezed: bool) -> Path:
    with path.open("wb") as file:
        assert write_warc(kept, file, squeezed=squeezed) == len(kept)
    return path


@given(st.lists(exchanges(), max_size=4), st.booleans())
@settings(max_examples=60)
def test_read_back_it_is_what_was_written_and_its_digests_are_right(
    tmp_path_factory: pytest.TempPathFactory, kept: list[Exchange], squeezed: bool
) -> None:
    folder = tmp_path_factory.mktemp("warc")
    path = written(folder / "x", kept, squeezed=squeezed)
    assert checked(path) == 0
    again = [sized(each) for each in read_warc(path, Store(folder)) if isinstance(each, Exchange)]
    assert again == [sized(each) for each in kept]


def test_records_and_fields(tmp_path: Path) -> None:
    asked = Asked("POST", "http://a.example:81/x?b=1", (("Accept", "*/*"),), Content(b'{"a":1}'))
    message = Message(201, (("X-Town", "a"),), Content(b"made"))
    path = written(tmp_path / "x", [Exchange(asked, message, NOON, 0.25)], squeezed=False)
    with path.open("rb") as file:
        records = [
            (dict(each.rec_headers.headers), each.content_stream().read(), each.http_headers)
            for each in ArchiveIterator(file)
        ]
    kinds = [fields["WARC-Type"] for fields, *_ in records]
    assert kinds == ["warcinfo", "request", "response", "metadata"]
    request, body, line = records[1]
    assert (line.protocol, line.statusline) == ("POST", "/x?b=1 HTTP/1.1")
    assert line.get_header("Host") == "a.example:81"
    assert line.get_header("Content-Length") == "7"
    assert body == b'{"a":1}'
    response, body, line = records[2]
    assert (line.statusline, line.get_header("Content-Length"), body) == ("201 Created", "4", b"made")
    assert request["WARC-Concurrent-To"] == response["WARC-Record-ID"]
    assert records[3][0]["WARC-Concurrent-To"] == response["WARC-Record-ID"]
    assert response["WARC-Target-URI"] == "http://a.example:81/x?b=1"
    assert response["WARC-Date"] == "2026-05-17T12:00:00.000Z"
    digest = b32encode(hashlib.sha1(b"made").digest()).decode()  # section 5.8: labelled, of the payload
    assert response["WARC-Payload-Digest"] == f"sha1:{digest}"
    assert path.read_bytes().startswith(b"WARC/1.1\r\n")


def test_the_same_site_is_the_same_file(tmp_path: Path) -> None:
    kept = [got("http://a.example/", b"1"), got("http://a.example/", b"1", seconds=1)]
    one, two = BytesIO(), BytesIO()
    write_warc(kept, one, squeezed=True)
    write_warc(kept, two, squeezed=True)
    assert one.getvalue() == two.getvalue()


def test_a_site_without_recordings(tmp_path: Path) -> None:
    path = written(tmp_path / "x", [], squeezed=True)
    assert list(read_warc(path, Store(tmp_path))) == []
    assert checked(path) == 0
