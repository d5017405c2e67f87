"""WARC files of other tools: GNU Wget's, made here, and what warcio writes by the standard's examples."""

import asyncio
import gzip
import hashlib
import subprocess
from base64 import b32encode
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pytest_httpserver import HTTPServer
from warcio.statusandheaders import StatusAndHeaders
from warcio.warcwriter import WARCWriter

from adapters import limits
from adapters.http.adapter import HttpAdapter
from adapters.port import Call
from adapters.recorded.exchange import Asked, Content, Exchange, Message, Told
from adapters.recorded.http.playing import PlayingLink
from gateway.archives.messages import Store
from gateway.archives.outcome import ArchiveFault, LeftOut
from gateway.archives.warc.reading import read_warc
from gateway.archives.warc.writing import write_warc
from tests.adapters.recorded.exchanges import NOON, got, loaded, sized

URL = "http://a.example/x"
Headers = list[tuple[str, str]]


def read(path: Path) -> list[Exchange | LeftOut]:
    entries = read_warc(path, Store(path.parent))
    return [each if isinstance(each, LeftOut) else sized(each) for each in entries]


class Warc:
    """A file that warcio writes, record by record."""

    def __init__(self, path: Path, version: str = "1.0") -> None:
        self.path = path
        self._file = path.open("wb")
        self._writer = WARCWriter(self._file, gzip=False, warc_version=version)

    def add(
        self,
        kind: str,
        body: bytes = b"",
        *,
        status: str = "200 OK",
        http: Headers | None = None,
        target: str = URL,
        media_type: str = "",
        **fields: Any,
    ) -> None:
        headers = {f"WARC-{name.replace('_', '-')}": value for name, value in fields.items()}
        headers = {"WARC-Date": "2026-05-17T12:00:00Z", **headers}
        lines = None if http is None else StatusAndHeaders(status, http, protocol="HTTP/1.1")
        if kind == "request":
            lines = StatusAndHeaders(f"{status} /x HTTP/1.1", http or [], is_http_request=True)
        record = self._writer.create_warc_record(
            target,
            kind,
            BytesIO(body),
            len(body),
            warc_content_type=media_type,
            warc_headers_dict=headers,
            http_headers=lines,
        )
        self._writer.write_record(record)

    def entries(self) -> list[Exchange | LeftOut]:
        self._file.close()
        return read(self.path)


@pytest.fixture
def warc(tmp_path: Path) -> Warc:
    return Warc(tmp_path / "x.warc")


def wget(folder: Path, name: str, *words: str) -> None:
    """GNU Wget, with a WARC file; what it gets goes nowhere."""
    command = ["wget", "-q", "--warc-file", name, "-O", "/dev/null", *words]
    done = subprocess.run(command, cwd=folder, check=False, timeout=20)
    assert done.returncode in (0, 8)  # 8: an answer was an error


async def test_what_wget_keeps_is_played(httpserver: HTTPServer, tmp_path: Path) -> None:
    httpserver.expect_request("/lamps.json").respond_with_data(
        gzip.compress(b'{"lamps": 3}'),
        content_type="application/json",
        headers={"Content-Encoding": "gzip"},
    )
    httpserver.expect_request("/old").respond_with_data("", 302, headers={"Location": "/new"})
    text = "Caf\u00e9 on the quay\n".encode("latin-1")
    httpserver.expect_request("/new").respond_with_data(text, content_type="text/plain")
    httpserver.expect_request("/posted", method="POST").respond_with_json({"kept": True}, 201)
    urls = [httpserver.url_for(path) for path in ("/lamps.json", "/old", "/missing", "/posted")]
    await asyncio.to_thread(wget, tmp_path, "w", "--compression=gzip", "--no-warc-compression", *urls[:3])
    await asyncio.to_thread(wget, tmp_path, "p", "--post-data", "lamp=3", urls[3])
    folder = loaded(tmp_path / "site")
    for name in ("w.warc", "p.warc.gz"):
        for each in read_warc(tmp_path / name, Store(tmp_path)):
            if isinstance(each, Exchange):
                folder.add(each)
    found = {(each.asked.method, each.asked.url.rpartition("/")[2]) for each in folder.exchanges()}
    assert found == {
        *(("GET", name) for name in ("lamps.json", "old", "new", "missing")),
        ("POST", "posted"),
    }
    adapter = HttpAdapter(link=PlayingLink(folder, lambda: NOON))
    bodies = [(await adapter.fetch(Call(url), 5.0)).body for url in urls[:2]]
    assert bodies == [b'{"lamps": 3}', text]
    form = "application/x-www-form-urlencoded"
    call = Call(urls[3], "POST", body=b"lamp=3", media_type=form, changes=True)
    assert (await adapter.fetch(call, 5.0)).status == 201
    await adapter.aclose()


def test_codings_of_both_kinds_are_off(warc: Warc) -> None:
    packed = gzip.compress(b"a lamp")
    chunked = b"%x\r\n%s\r\n0\r\n\r\n" % (len(packed), packed)
    warc.add("response", chunked, http=[("Transfer-Encoding", "chunked"), ("Content-Encoding", "gzip")])
    assert warc.entries() == [
        Exchange(Asked("GET", URL), Message(200, (), Content(b"a lamp"), squeezed=True), NOON)
    ]


def test_requests_of_any_method(warc: Warc) -> None:
    warc.add("request", b"oil", status="PUT", http=[("Accept", "*/*")], Record_ID="<1>", Concurrent_To="<2>")
    warc.add("response", b"", status="204 No Content", http=[], Record_ID="<2>")
    warc.add("request", status="HEAD", http=[], Record_ID="<3>", Concurrent_To="<4>")
    warc.add("response", b"", http=[("Content-Length", "9")], Record_ID="<4>")
    assert warc.entries() == [
        Exchange(Asked("PUT", URL, (("Accept", "*/*"),), Content(b"oil")), Message(204), NOON),
        Exchange(Asked("HEAD", URL), Message(200, length=9), NOON),
    ]


def test_the_same_again_refers_to_the_first(warc: Warc) -> None:
    digest = f"sha1:{b32encode(hashlib.sha1(b'a lamp').digest()).decode()}"
    same = "http://netpreserve.org/warc/1.0/revisit/identical-payload-digest"
    none = "http://netpreserve.org/warc/1.0/revisit/server-not-modified"
    warc.add("response", b"a lamp", http=[("ETag", '"1"')], Record_ID="<1>")
    warc.add("revisit", http=[("ETag", '"2"')], target=URL + "2", Profile=same, Refers_To="<1>")
    warc.add("revisit", http=[], target=URL + "3", Profile=same, Payload_Digest=digest)
    warc.add(
        "revisit",
        http=[],
        target=URL + "4",
        Profile=same,
        Payload_Digest="sha1:no",
        Refers_To_Target_URI=URL,
        Refers_To_Date="2026-05-17T12:00:00Z",
    )
    warc.add("revisit", http=[], status="304 Not Modified", target=URL + "5", Profile=none)
    warc.add("revisit", http=[], target=URL + "6", Profile=same, Refers_To="<9>", Payload_Digest="sha1:none")
    told = [each.reply for each in warc.entries() if isinstance(each, Exchange)]
    lamp = Content(b"a lamp")
    assert told == [
        Message(200, (("ETag", '"1"'),), lamp),
        Message(200, (("ETag", '"2"'),), lamp),
        Message(200, (), lamp),
        Message(200, (), lamp),
        Message(304),
    ]
    assert read(warc.path)[-1] == LeftOut("a copy of what is not in the file")


def test_resources(warc: Warc) -> None:
    warc.add("resource", b"a lamp", media_type="text/plain")
    warc.add("resource", b"a list", media_type="text/plain", target="ftp://a.example/x")
    warc.add("resource", b"10.0.0.1", media_type="text/dns", target="dns:a.example")
    page, document, name = warc.entries()
    assert isinstance(page, Exchange)
    assert page.reply == Message(200, (("Content-Type", "text/plain"),), Content(b"a lamp"))
    assert isinstance(document, Exchange)
    assert isinstance(document.reply, Told)
    assert (document.asked.method, document.reply.content) == ("READ", Content(b"a list"))
    assert name == LeftOut("not over a protocol of the gateway")


def test_what_is_left_out(warc: Warc, monkeypatch: pytest.MonkeyPatch) -> None:
    warc.add("response", b"x", http=[("Content-Encoding", "zstd")])
    warc.add("response", b"x", http=[("Transfer-Encoding", "gzip, chunked")])
    warc.add("response", b"x", http=[], status="OK")
    warc.add("response", b"x", http=[], target="whois://a.example/")
    warc.add("response", b"x", http=[], Date="yesterday")
    warc.add("response", b"x", http=[("Content-Length", "2")], Segment_Number="1")
    warc.add("continuation", b"x", media_type="application/octet-stream", Segment_Number="2")
    warc.add("response", b"x", http=[], Truncated="length", target=URL + "2")
    warc.add("response", b"x" * 9, http=[])
    monkeypatch.setattr(limits, "ARCHIVE_BODY_BYTES", 8)
    assert [each.why for each in warc.entries() if isinstance(each, LeftOut)] == [
        "in a coding that is not gzip, deflate or br",
        "in a transfer coding that is not chunked",
        "without a status",
        "not over HTTP",
        "without a date",
        "in segments",
        "cut short by the tool that kept it",
        "larger than a recording may be",
    ]


def test_a_cut_of_the_tool_and_one_of_the_server(warc: Warc) -> None:
    headers = [("Content-Length", "99")]
    warc.add("response", b"part", http=headers, Truncated="length")
    warc.add("response", b"part", http=headers, target=URL + "2", Truncated="disconnect")
    tool, server = (each.reply for each in warc.entries() if isinstance(each, Exchange))
    assert tool == Message(200, (), Content(b"part"), length=99)
    assert isinstance(server, Message)
    assert server.failure is not None
    assert server.failure.name == "BrokenOff"


@pytest.mark.parametrize(
    ("date", "millisecond"),
    [
        ("2026-05-17T12:00Z", 0),
        ("2026-05-17T12:00:00Z", 0),
        ("2026-05-17T12:00:00.5Z", 500),
        ("2026-05-17T12:00:00.123456789Z", 123),
    ],
)
def test_dates_have_up_to_nine_decimals(date: str, millisecond: int, warc: Warc) -> None:
    """WARC 1.1, section 5.4, and W3C-DTF that it follows; 1.0 has whole seconds."""
    warc.add("response", b"x", http=[], Date=date)
    (each,) = warc.entries()
    assert isinstance(each, Exchange)
    assert each.at == NOON.replace(microsecond=millisecond * 1000)


@pytest.mark.parametrize("date", ["2026-13-40T12:00:00Z", "2026-02-30", "soon"])
def test_an_answer_at_no_date_is_left_out(date: str, warc: Warc) -> None:
    warc.add("response", b"x", http=[], Date=date)
    assert warc.entries() == [LeftOut("without a date")]


def test_a_request_that_is_none_is_as_if_it_were_missing(warc: Warc) -> None:
    warc.add("request", b"", status="", Record_ID="<1>", Concurrent_To="<2>")
    warc.add("response", b"x", http=[], Record_ID="<2>")
    (entry,) = warc.entries()
    assert isinstance(entry, Exchange)
    assert entry.asked == Asked("GET", URL)


def test_latin_1_and_utf_8_in_headers(tmp_path: Path) -> None:
    path = tmp_path / "x"
    texts = [(b"M\xf6we", "M\xf6we"), ("\u2603".encode(), "\xe2\x98\x83"), (b"Caf\xc3\xa9", "Caf\xc3\xa9")]
    for raw, text in texts:
        block = b"HTTP/1.1 200 OK\r\nX-Town: " + raw + b"\r\n\r\nx"
        path.write_bytes(
            b"WARC/1.0\r\nWARC-Type: response\r\nWARC-Record-ID: <urn:x>\r\n"
            b"WARC-Date: 2026-05-17T12:00:00Z\r\n"
            b"WARC-Target-URI: http://a.example/\r\nContent-Type: application/http; msgtype=response\r\n"
            b"Content-Length: %d\r\n\r\n%s\r\n\r\n" % (len(block), block)
        )
        (each,) = read(path)
        assert isinstance(each, Exchange)
        assert isinstance(each.reply, Message)
        assert each.reply.headers == (("X-Town", text),)


@pytest.mark.parametrize("squeezed", [False, True])
def test_a_file_that_ends_too_early_gives_what_is_whole_and_says_so(squeezed: bool, tmp_path: Path) -> None:
    path = tmp_path / "x"
    kept = [got("http://a.example/", b"1" * 500), got("http://b.example/", b"2" * 500)]
    with path.open("wb") as file:
        write_warc(kept, file, squeezed=squeezed)
    whole = path.read_bytes()
    counts = []
    for at in range(40, len(whole), 41):
        rest = whole[at:] if squeezed else whole[at:].lstrip()
        if not rest or rest.startswith((b"\x1f\x8b\x08", b"WARC/1.1")):
            continue  # between two records
        path.write_bytes(whole[:at])
        *entries, last = read(path)
        assert last == LeftOut("cut off by the end of the file")
        answers = [each for each in entries if isinstance(each, Exchange)]
        assert [each.reply for each in answers] == [each.reply for each in kept[: len(answers)]]
        counts.append(len(answers))
    assert counts == sorted(counts)
    assert set(counts) == {0, 1, 2}


def test_gzipped_as_a_whole(tmp_path: Path) -> None:
    """Annex D of ISO 28500 wants it record by record; some archives are not."""
    path = tmp_path / "x"
    with path.open("wb") as file:
        write_warc([got("http://a.example/"), got("http://b.example/")], file, squeezed=False)
    path.write_bytes(gzip.compress(path.read_bytes()))
    assert read(path) == [got("http://a.example/"), got("http://b.example/")]


def test_a_body_that_broke_off(warc: Warc) -> None:
    chunked = [("Transfer-Encoding", "chunked")]
    warc.add("response", b"3\r\npar\r\n4\r\nt", http=chunked)
    warc.add("response", b"part", http=[], Truncated="disconnect", target=URL + "2")
    for each in warc.entries():
        assert isinstance(each, Exchange)
        assert isinstance(each.reply, Message)
        assert (each.reply.content, each.reply.length) == (Content(b"part"), None)
        assert each.reply.failure is not None
        assert each.reply.failure.name == "BrokenOff"


def test_a_copy_is_whole_though_its_own_record_is_not(warc: Warc) -> None:
    """ISO 28500:2017 section 6.7.2: the block may be left out, and the record is then WARC-Truncated."""
    same = "http://netpreserve.org/warc/1.1/revisit/identical-payload-digest"
    chunked = [("ETag", '"1"'), ("Transfer-Encoding", "chunked")]
    warc.add("response", b"4\r\nlamp\r\n0\r\n\r\n", http=chunked, Payload_Digest="sha1:A")
    for headers in ([("ETag", '"2"'), ("Content-Length", "4")], None):
        warc.add(
            "revisit",
            http=headers,
            Profile=same,
            Truncated="length",
            Payload_Digest="sha1:A",
            Refers_To_Target_URI=f"<{URL}>",
            Refers_To_Date="2026-05-17T12:00:00Z",
        )
    lamp = Content(b"lamp")
    assert [each.reply for each in warc.entries() if isinstance(each, Exchange)] == [
        Message(200, (("ETag", '"1"'),), lamp),
        Message(200, (("ETag", '"2"'),), lamp),
        Message(200, (("ETag", '"1"'),), lamp),
    ]


def test_heads_that_only_tell_of_an_answer(warc: Warc) -> None:
    warc.add("response", b"HTTP/1.1 200 OK\r\nETag: 1\r\n\r\nx", status="100 Continue", http=[])
    warc.add("response", b"", status="101 Switching Protocols", http=[], target=URL + "2")
    assert [each.reply for each in warc.entries() if isinstance(each, Exchange)] == [
        Message(200, (("ETag", "1"),), Content(b"x")),
        Message(101),
    ]


def test_parts_of_a_document(warc: Warc) -> None:
    parts = [("Content-Range", "bytes 0-3/9")]
    warc.add("request", status="GET", http=[("Range", "bytes=0-3")])
    warc.add("response", b"lamp", status="206 Partial Content", http=[*parts, ("Content-Length", "4")])
    asked = Asked("GET", URL, (("Range", "bytes=0-3"),))
    assert warc.entries() == [Exchange(asked, Message(206, tuple(parts), Content(b"lamp")), NOON)]


def test_urls_are_those_that_the_gateway_asks_for(warc: Warc) -> None:
    warc.add("request", status="POST", http=[], target="http://a.example/Caf\u00e9")
    warc.add("response", b"x", http=[], target="http://a.example/Caf\u00e9#top")
    (each,) = warc.entries()
    assert isinstance(each, Exchange)
    assert (each.asked.method, each.asked.url) == ("POST", "http://a.example/Caf%C3%A9")


def test_a_text_of_its_own_that_is_too_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x"
    with path.open("wb") as file:
        write_warc([got("http://a.example/")], file, squeezed=True)
    monkeypatch.setattr(limits, "ARCHIVE_TEXT_BYTES", 100)
    assert read(path) == [LeftOut("larger than a recording may be")]


def test_its_own_text_edited_wrongly_is_told(tmp_path: Path) -> None:
    path = tmp_path / "x"
    with path.open("wb") as file:
        write_warc([got("http://a.example/")], file, squeezed=False)
    path.write_bytes(path.read_bytes().replace(b"status = 200", b"status = 2x0"))
    (each,) = read(path)
    assert isinstance(each, LeftOut)
    assert each.why.startswith("with a broken text of its own")


ANY_FILE = (
    b"WARC/1.0\r\nWARC-Type: response\r\nWARC-Record-ID: <1>\r\nWARC-Date: 2026-05-17T12:00:00Z\r\n"
    b"WARC-Target-URI: http://a.example/\r\nContent-Type: application/http\r\nContent-Length: 61\r\n\r\n"
    b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n1\r\nx\r\n0\r\n\r\n\r\n\r\n"
    b"WARC/1.0\r\nWARC-Type: revisit\r\nWARC-Record-ID: <2>\r\nWARC-Date: 2026-05-17T12:00:00Z\r\n"
    b"WARC-Target-URI: http://a.example/2\r\nWARC-Refers-To: <1>\r\nContent-Length: 0\r\n\r\n\r\n\r\n"
)


@given(
    st.lists(st.tuples(st.integers(0, len(ANY_FILE)), st.integers(0, 30), st.binary(max_size=4)), max_size=3),
    st.none() | st.integers(0, 400),
)
@example([], None)
def test_a_file_of_any_bytes_is_taken_in_or_told(
    tmp_path_factory: pytest.TempPathFactory, changes: list[tuple[int, int, bytes]], packed_to: int | None
) -> None:
    """`changes`: at a place, so many bytes become others."""
    data = ANY_FILE
    for at, less, more in changes:
        data = data[:at] + more + data[at + less :]
    path = tmp_path_factory.mktemp("any") / "x"
    path.write_bytes(data if packed_to is None else gzip.compress(data, mtime=0)[:packed_to])
    try:
        entries = read(path)
    except ArchiveFault:
        assert changes or packed_to is not None
        return
    if not changes and packed_to is None:
        assert [each.reply for each in entries if isinstance(each, Exchange)] == [
            Message(200, (), Content(b"x"))
        ] * 2
