"""Which records belong together, whichever way round and however a tool names them."""

import errno
import gzip
import time
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import pytest
from warcio.archiveiterator import ArchiveIterator
from warcio.statusandheaders import StatusAndHeaders
from warcio.warcwriter import WARCWriter

from gateway.archives.outcome import ArchiveFault
from gateway.archives.warc.index import indexed
from gateway.archives.warc.unpacking import Unpacked

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
    assert index.left_out == {1: "requests without an answer"}


def test_a_second_request_beside_an_answer_has_none(tmp_path: Path) -> None:
    records: list[Record] = [
        ("request", "<1>", "<2>", "http://a.example/"),
        ("response", "<2>", "", "http://a.example/"),
        ("request", "<3>", "", "http://a.example/"),
    ]
    index = indexed(written(tmp_path / "x", records))
    assert {record.name for record in index.groups[1].records} == {"<1>", "<2>"}
    assert index.left_out == {2: "requests without an answer"}


def test_what_is_no_exchange_is_told_and_what_only_describes_is_not(tmp_path: Path) -> None:
    names = ("conversion", "continuation", "metadata", "unheard-of")
    index = indexed(written(tmp_path / "x", [(name, f"<{name}>", "", "http://a.example/") for name in names]))
    assert index.groups == {}
    assert index.left_out == {0: "converted copies of something"}


def test_a_file_that_is_cut_off(tmp_path: Path) -> None:
    path = written(tmp_path / "x", [("response", f"<{n}>", "", f"http://a.example/{n}") for n in range(2)])
    whole = path.read_bytes()
    second = whole.index(b"WARC/1.0", 1)
    told = []
    for end in range(second, len(whole) + 1):
        path.write_bytes(whole[:end])
        index = indexed(path)
        assert index.groups[0].records[0].name == "<0>"
        assert index.left_out == {}
        told.append((1 in index.groups, index.cut))
    assert told[0] == (False, False)
    ends = len("\r\n\r\n")  # what ends a record is not missed
    assert told[1:] == [(False, True)] * (len(told) - 2 - ends) + [(True, False)] * (ends + 1)


def test_a_record_that_does_not_say_how_long_it_is(tmp_path: Path) -> None:
    path = written(tmp_path / "x", [("response", "<1>", "", "http://a.example/")] * 2)
    path.write_bytes(path.read_bytes().replace(b"Content-Length: ", b"Content-Size: ", 1))
    with pytest.raises(ArchiveFault, match="record 1 has no Content-Length"):
        indexed(path)


def test_whatever_the_library_stumbles_over_is_damage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No such file is known; the library promises nothing of what it raises."""
    path = written(tmp_path / "x", [("response", "<1>", "", "http://a.example/")])

    def stumble(self: ArchiveIterator, line: object) -> None:
        raise KeyError(line)

    monkeypatch.setattr(ArchiveIterator, "_next_record", stumble)
    with pytest.raises(ArchiveFault, match=r"can be read: damaged\Z"):
        indexed(path)


def test_a_blank_in_a_url_is_not_complained_of(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The library would write the whole URL where nobody cares for what a terminal makes of it."""
    path = written(tmp_path / "x", [("response", "<1>", "", "http://a.example/x\x1b[2J y?key=window-4711")])
    assert len(indexed(path).groups) == 1
    assert caplog.text == ""


def test_a_disk_that_cannot_be_read_is_no_damage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path / "x", [("response", "<1>", "", "http://a.example/")])

    def broken(self: Unpacked, size: int) -> bytes:
        raise OSError(errno.EIO, "input/output error")

    monkeypatch.setattr(Unpacked, "read", broken)
    with pytest.raises(OSError, match="input/output"):
        indexed(path)


def test_a_record_that_is_longer_than_it_says(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """The library would warn with a line of the file, leave that out, and go on."""
    path = written(tmp_path / "x", [("response", "<1>", "", "http://a.example/")] * 2)
    data = path.read_bytes()
    size = int(data[(at := data.index(b"Content-Length: ") + 16) : data.index(b"\r\n", at)])
    path.write_bytes(data.replace(b"Content-Length: %d" % size, b"Content-Length: %d" % (size - 1), 1))
    with pytest.raises(ArchiveFault, match="what follows is no record"):
        indexed(path)
    assert capfd.readouterr() == ("", "")


def test_damage_in_the_middle_says_where(tmp_path: Path) -> None:
    path = written(tmp_path / "x", [("response", "<1>", "", "http://a.example/")] * 3)
    data = path.read_bytes()
    at = data.index(b"WARC/1.0", 1)
    path.write_bytes(data[:at] + b"JUNK" + data[at + 4 :])
    with pytest.raises(ArchiveFault, match="behind record 1: what follows is no record"):
        indexed(path)
    packed = bytearray(gzip.compress(data))
    packed[-5] ^= 1
    path.write_bytes(packed)
    with pytest.raises(ArchiveFault, match="its gzip is damaged"):
        indexed(path)


def test_many_pairs_in_no_time(tmp_path: Path) -> None:
    """Each answer names its request, which stands far behind it, as in a file that was sorted."""
    kinds = [("response", "r"), ("request", "q")]
    records = [
        (kind, f"<{mark}{n}>", f"<q{n}>" if mark == "r" else "", f"http://a.example/{n}")
        for kind, mark in kinds
        for n in range(1500)
    ]
    began = time.process_time()
    index = indexed(written(tmp_path / "x", records))
    assert len({id(group) for group in index.groups.values()}) == 1500
    assert len(index.groups) == 3000
    assert time.process_time() - began < 20  # some 0.5 here


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
