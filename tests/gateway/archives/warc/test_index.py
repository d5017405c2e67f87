"""Which records belong together, whichever way round and however a tool names them."""

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import pytest
from warcio.statusandheaders import StatusAndHeaders
from warcio.warcwriter import WARCWriter

from gateway.archives.outcome import ArchiveFault
from gateway.archives.warc.index import indexed

Record = tuple[str, str, str, str]
"""Type, id, what it is concurrent to, URI."""


def written(path: Path, records: Sequence[Record]) -> Path:
    """By warcio, as other tools would."""
    with path.open("wb") as file:
        writer = WARCWriter(file, gzip=False)
        for kind, name, beside, target in records:
            headers = {"WARC-Record-ID": name, **({"WARC-Concurrent-To": beside} if beside else {})}
            line = StatusAndHeaders("POST /x HTTP/1.1", [], is_http_request=True)
            answer = StatusAndHeaders("200 OK", [], protocol="HTTP/1.1")
            http = line if kind == "request" else answer
            record = writer.create_warc_record(
                target, kind, BytesIO(b"x"), 1, warc_headers_dict=headers, http_headers=http
            )
            writer.write_record(record)
    return path


@pytest.mark.parametrize(
    "records",
    [
        [("request", "<1>", "<2>", "http://a.example/"), ("response", "<2>", "", "http://a.example/")],
        [("response", "<2>", "", "http://a.example/"), ("request", "<1>", "<2>", "http://a.example/")],
        [("response", "<2>", "<1>", "http://a.example/"), ("request", "<1>", "", "http://a.example/")],
        [("request", "<1>", "", "http://a.example/"), ("response", "<2>", "", "http://a.example/")],
        [("response", "<2>", "", "http://a.example/"), ("request", "<1>", "", "http://a.example/")],
    ],
)
def test_pairs(records: list[Record], tmp_path: Path) -> None:
    others: list[Record] = [
        ("response", "<8>", "", "http://b.example/"),
        ("request", "<9>", "", "http://c.example/"),
    ]
    index = indexed(written(tmp_path / "x", [*others, *records]))
    (group,) = {id(group): group for group in index.groups.values() if len(group.records) == 2}.values()
    assert {record.name for record in group.records} == {"<1>", "<2>"}
    assert (group.method, group.last) == ("POST", 3)
    lone = index.groups[0]
    assert (lone.method, len(lone.records)) == ("GET", 1)
    assert 1 not in index.groups


@pytest.mark.parametrize(
    "data", [b"WARC/1.0\r\nWARC-Type: response\r\n", b"WARC/1.1\r\n\r\n", b"\x1f\x8b\x08rubbish"]
)
def test_what_is_no_warc_file(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(data)
    try:
        assert indexed(path).groups == {}
    except ArchiveFault as fault:
        assert "not a WARC file" in str(fault)
