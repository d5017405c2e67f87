"""WARC 1.1 (ISO 28500:2017) as warcio, the reference library, reads and checks it; and the way back."""

import hashlib
import tracemalloc
from base64 import b32encode
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from warcio.archiveiterator import ArchiveIterator
from warcio.checker import Checker
from warcio.warcwriter import WARCWriter

from adapters.errors import BrokenOff
from adapters.files import Entry, Kind, Listing, Stat, Written
from adapters.recorded.exchange import Asked, Content, Exchange, Headers, Message, Told
from adapters.recorded.failures import failure_of
from gateway.archives.messages import Store
from gateway.archives.warc.reading import read_warc
from gateway.archives.warc.writing import Counts, write_warc
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
        assert write_warc(kept, file, squeezed=squeezed).exchanges == len(kept)
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


def by_other_tools(path: Path) -> list[tuple[str, str, bytes, bytes]]:
    """Each record's type, URI, block (by the standard's own rules) and media type."""
    with path.open("rb") as file:
        return [
            (
                each.rec_type,
                each.rec_headers.get_header("WARC-Target-URI") or "",
                each.raw_stream.read(),
                (each.rec_headers.get_header("Content-Type") or "").encode(),
            )
            for each in ArchiveIterator(file, no_record_parse=True)
        ]


def without_its_own(path: Path) -> None:
    """Leave out the metadata records, as a tool that keeps only what it knows."""
    with path.open("rb") as file, path.with_suffix(".less").open("wb") as less:
        writer = WARCWriter(less, gzip=False)
        for record in ArchiveIterator(file, no_record_parse=True):
            if record.rec_type != "metadata":
                writer.write_record(record)
    path.with_suffix(".less").replace(path)


bodies = st.binary(max_size=60).map(Content)
plain_headers = st.lists(
    st.tuples(
        st.sampled_from(["ETag", "X-Odd", "Link"]),
        st.text(st.characters(min_codepoint=0x21, max_codepoint=0xFF, exclude_characters="\x7f\x85\xa0")),
    ),
    max_size=3,
).map(tuple)


@given(
    st.sampled_from(["GET", "HEAD", "POST", "PROPFIND"]),
    plain_headers,
    bodies,
    st.sampled_from([200, 206, 304, 404]),
    plain_headers,
    bodies,
    st.sampled_from(["whole", "left", "broken", "broken, length not known"]),
)
@settings(max_examples=60)
def test_what_other_tools_keep_of_it_is_the_same_exchange(
    tmp_path_factory: pytest.TempPathFactory,
    method: str,
    asked_headers: Headers,
    body: Content,
    status: int,
    headers: Headers,
    content: Content,
    how: str,
) -> None:
    asked = Asked(
        method, "http://a.example/x?b=1", asked_headers, body if body.size and method == "POST" else None
    )
    bodiless = method == "HEAD" or status == 304
    cut = how != "whole" and not bodiless and status < 300
    reply = Message(
        status,
        headers,
        None if bodiless else content,
        length=9 if method == "HEAD" else 99 if cut and how in ("left", "broken") else None,
        failure=failure_of(BrokenOff(), sent=True) if cut and how != "left" else None,
    )
    folder = tmp_path_factory.mktemp("warc")
    path = written(folder / "x", [Exchange(asked, reply, NOON)], squeezed=False)
    without_its_own(path)
    assert checked(path) == 0
    (again,) = (sized(each) for each in read_warc(path, Store(folder)) if isinstance(each, Exchange))
    of_the_line = ("host", "content-length")
    kept = tuple(pair for pair in again.asked.headers if pair[0].lower() not in of_the_line)
    assert replace(again, asked=replace(again.asked, headers=kept)) == Exchange(asked, reply, NOON)


def test_bytes_of_headers_stay_as_they_are(tmp_path: Path) -> None:
    asked = Asked("GET", "http://a.example/Caf\u00e9 x", (("X-Asked", "M\xf6we"),))
    reply = Message(200, (("X-Town", "M\xf6we; a=\xe9"),), Content(b"x"))
    path = written(tmp_path / "x", [Exchange(asked, reply, NOON)], squeezed=False)
    _, request, response, _ = by_other_tools(path)
    line = b"GET /Caf%C3%A9%20x HTTP/1.1\r\nHost: a.example\r\nX-Asked: M\xf6we\r\n\r\n"
    assert request[1:3] == ("http://a.example/Caf%C3%A9%20x", line)
    assert b"X-Town: M\xf6we; a=\xe9\r\n" in response[2]


def test_what_has_no_form_of_its_own_is_counted_and_read_back(tmp_path: Path) -> None:
    """Nothing of it is an answer to other tools: what was sent is never taken for what was got."""
    broken = failure_of(BrokenOff(), sent=True)
    stat = Stat(Kind.FILE, 2)
    entries = tuple(Entry(b"%05d%s" % (number, b"x" * 400), Kind.FILE, 3) for number in range(3000))
    kept = [
        Exchange(Asked("POST", "http://a.example/x", (), Content(b"\xff")), broken, NOON),
        Exchange(Asked("WRITE", "ftp://a.example/x", (), Content(b"\xff")), Told(written=Written(1)), NOON),
        Exchange(Asked("APPEND", "ftp://a.example/x", (), Content(b"\xff")), broken, NOON),
        Exchange(Asked("LIST", "ftp://a.example/"), Told(listing=Listing(entries)), NOON),
        Exchange(Asked("READ", "ftp://a.example/y"), Told(stat=stat, content=Content(b"ab")), NOON),
        got("http://a.example/z"),
    ]
    path = tmp_path / "x"
    with path.open("wb") as file:
        assert write_warc(kept, file, squeezed=False) == Counts(6, 4)
    assert path.stat().st_size > 1 << 20  # the text of the listing alone
    records = by_other_tools(path)
    assert [(kind, uri) for kind, uri, *_ in records if kind not in ("warcinfo", "metadata")] == [
        ("request", "http://a.example/x"),
        ("resource", "ftp://a.example/y"),
        ("request", "http://a.example/z"),
        ("response", "http://a.example/z"),
    ]
    assert [sized(each) for each in read_warc(path, Store(tmp_path)) if isinstance(each, Exchange)] == kept


def test_large_bodies_pass_in_pieces(tmp_path: Path) -> None:
    source, size = tmp_path / "body", 24 << 20
    with source.open("wb") as file:
        for _ in range(size >> 20):
            file.write(b"0123456789abcdef" * (1 << 16))
    kept = Exchange(Asked("GET", "http://a.example/"), Message(200, (), Content(path=source)), NOON)
    tracemalloc.start()
    path = written(tmp_path / "x", [kept], squeezed=False)
    without_its_own(path)
    (again,) = read_warc(path, Store(tmp_path))
    assert isinstance(again, Exchange)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 4 << 20
    assert path.stat().st_size > size
