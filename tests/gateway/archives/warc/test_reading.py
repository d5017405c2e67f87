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
    warc.add("response", b"x", http=[("Content-Encoding", "br")])
    warc.add("response", b"x", http=[], status="OK")
    warc.add("response", b"x", http=[], target="whois://a.example/")
    warc.add("response", b"x", http=[], Date="yesterday")
    warc.add("continuation", b"x", media_type="application/octet-stream")
    warc.add("response", b"x" * 9, http=[])
    monkeypatch.setattr(limits, "ARCHIVE_BODY_BYTES", 8)
    assert [each.why for each in warc.entries() if isinstance(each, LeftOut)] == [
        "in a coding that is not gzip or deflate",
        "without a status",
        "not over HTTP",
        "without a date",
        "in segments",
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
    [("2026-05-17T12:00:00Z", 0), ("2026-05-17T12:00:00.5Z", 500), ("2026-05-17T12:00:00.123456789Z", 123)],
)
def test_dates_have_up_to_nine_decimals(date: str, millisecond: int, warc: Warc) -> None:
    """WARC 1.1, section 5.4; 1.0 has none."""
    warc.add("response", b"x", http=[], Date=date)
    (each,) = warc.entries()
    assert isinstance(each, Exchange)
    assert each.at == NOON.replace(microsecond=millisecond * 1000)


def test_latin_1_and_utf_8_in_headers(tmp_path: Path) -> None:
    path = tmp_path / "x"
    for raw, text in ((b"M\xf6we", "M\xf6we"), ("\u2603".encode(), "\xe2\x98\x83")):
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


def test_a_file_that_ends_too_early_gives_what_is_whole_or_says_so(tmp_path: Path) -> None:
    path = tmp_path / "x"
    with path.open("wb") as file:
        write_warc(
            [got("http://a.example/", b"1" * 500), got("http://b.example/", b"2" * 500)], file, squeezed=False
        )
    whole = path.read_bytes()
    for at in range(0, len(whole), 97):
        path.write_bytes(whole[:at])
        try:
            entries = read(path)
        except ArchiveFault:
            continue
        assert len(entries) <= 2


def test_its_own_text_edited_wrongly_is_told(tmp_path: Path) -> None:
    path = tmp_path / "x"
    with path.open("wb") as file:
        write_warc([got("http://a.example/")], file, squeezed=False)
    path.write_bytes(path.read_bytes().replace(b"status = 200", b"status = 2x0"))
    (each,) = read(path)
    assert isinstance(each, LeftOut)
    assert each.why.startswith("with a broken text of its own")
