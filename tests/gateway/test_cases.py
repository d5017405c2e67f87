"""The cases that concern a whole ASK, from raw HTTP bytes to records (see each folder's case.md)."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from tests.gateway.talking import running, say

CASES = Path(__file__).parents[1] / "cases"


@asynccontextmanager
async def far(answer: bytes) -> AsyncIterator[str]:
    """A far server that answers any request with these bytes and closes; its URL."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(answer)
        await writer.drain()
        writer.close()
        await writer.wait_closed()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with server:
        yield f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/"


def catalogue(url: str, folder: Path, source: str, *fields: str) -> str:
    lines = [f'[gateway]\nstate = "{folder / "state"}"\n[[listen]]\nport = 0']
    lines += [
        f'[source.case]\nurl = "{url}"\n{source}\nfield = [',
        *(f"{{ {field} }}," for field in fields),
        "]",
    ]
    return "\n".join(lines)


async def ask(answer: bytes, folder: Path, source: str, *fields: str) -> tuple[str, list[str]]:
    async with far(answer) as url, running(catalogue(url, folder, source, *fields), folder) as bound:
        return (await say(bound, "ASK case"))[0]


async def test_json_with_a_bom_a_wrong_charset_and_a_wrong_type(tmp_path: Path) -> None:
    folder = CASES / "json-bom-wrong-charset-html-type"
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))
    place = "name = 'PLACE', at = '$.place', width = 12"
    also = "name = 'ALSO', at = '$.also', width = 4"
    status, records = await ask((folder / "lies.http").read_bytes(), tmp_path, "", place, also)
    assert status == "200 00001 017 .."
    assert records[0].split() == expected["lies.http"]["ascii"]
    _, records = await ask((folder / "honest.http").read_bytes(), tmp_path, "", place)
    assert [records[0].rstrip()] == expected["honest.http"]["ascii"]


@pytest.mark.parametrize(
    "name", sorted(path.name for path in (CASES / "http-cut-short-bodies").glob("*.http"))
)
async def test_a_short_body_is_never_a_shorter_list(name: str, tmp_path: Path) -> None:
    folder = CASES / "http-cut-short-bodies"
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))[name]
    field = "name = 'N', at = '$.n', kind = 'int', width = 3"
    status, records = await ask((folder / name).read_bytes(), tmp_path, "format = 'ndjson'", field)
    if expected == "error: truncated":
        assert status == "426 00001 040 .."
    elif "body" in expected:
        numbers = [json.loads(line)["n"] for line in expected["body"].splitlines()]
        assert (status[:9], [int(record) for record in records]) == (f"200 {len(numbers):05}", numbers)
    else:
        assert status == f"200 {expected['records']:05} 000 .."


@pytest.mark.parametrize("code", ["429 Too Many Requests", "503 Service Unavailable"])
@pytest.mark.parametrize(
    ("value", "seconds"), [("120", "120"), ("1.5", "2"), ("0", "0"), ("99999999999", "86400")]
)
async def test_the_seconds_to_wait_end_the_record(
    code: str, value: str, seconds: str, tmp_path: Path
) -> None:
    """RFC 9110 section 10.2.3; the case's other values are tested where they are read."""
    answer = f"HTTP/1.1 {code}\r\nRetry-After: {value}\r\nContent-Length: 0\r\n\r\n".encode()
    status, records = await ask(answer, tmp_path, "", "name = 'N', at = '$.n', width = 3")
    assert status == ("429 00001 040 .." if code.startswith("429") else "450 00001 040 ..")
    assert records[0].rpartition(" ")[2] == seconds


async def test_exact_numbers(tmp_path: Path) -> None:
    folder = CASES / "json-exact-numbers"
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))
    body = (folder / "numbers.json").read_bytes()
    answer = b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n" % len(body) + body
    fields = [f"name = 'F{index}', at = \"{path}\", width = 22" for index, path in enumerate(expected)]
    _, records = await ask(answer, tmp_path, "gap = 0", *fields)
    found = [records[0][start : start + 22].strip() for start in range(0, 22 * len(expected), 22)]
    assert found == list(expected.values())


@pytest.mark.parametrize("name", ["default.xml", "prefixed.xml", "odd.xml"])
async def test_one_feed_spelt_three_ways(name: str, tmp_path: Path) -> None:
    folder = CASES / "xml-namespace-same-meaning"
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))[name]
    body = (folder / name).read_bytes()
    answer = b"HTTP/1.1 200 OK\r\nContent-Type: application/atom+xml\r\nConnection: close\r\n\r\n" + body
    title = "name = 'TITLE', at = 'title', width = 12"
    updated = "name = 'UPDATED', at = 'updated', kind = 'time', out = '%Y-%m-%dT%H:%M:%SZ', width = 20"
    _, records = await ask(answer, tmp_path, "rows = '/feed/entry'", title, updated)
    assert [record[:12].rstrip() for record in records] == expected["entry_titles"]
    assert [record[13:] for record in records] == expected["updated_utc"]
