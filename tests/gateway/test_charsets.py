"""A whole gateway and a client on a socket that has Python's own codec for its character set."""

import codecs
import json
from pathlib import Path

import pytest
from anyascii import anyascii
from pytest_httpserver import HTTPServer

from tests.gateway.talking import running, talk

ROWS = ["Höhe über Kai", "Высота воды", "Crème brûlée", "Płyta Łódź", "£5 [neto]", 'Il a dit "oui"', "שלום"]
CATALOGUE = """
[gateway]
state = "state"
[profile.own]
charset = "{charset}"
cols = 32
[[listen]]
port = 0
profile = "own"
[source.rows]
url = "{url}"
rows = "$[*]"
[[source.rows.field]]
name = "TEXT"
at = "$.text"
width = 30
"""
QUOTES = str.maketrans('"', "'")  # 7Fh of code page 037, which is no character of a line


def has(character: str, codec: str) -> bool:
    try:
        return bool(character.encode(codec))
    except UnicodeEncodeError:
        return False


def published(codec: str) -> str:
    """The codec's table as a mapping file."""
    lines = ["# Name: a table for a test\n"]
    for code in range(256):
        try:
            lines.append(f"0x{code:02X}\t0x{ord(bytes((code,)).decode(codec)):04X}\t# character {code}\n")
        except UnicodeDecodeError:
            lines.append(f"0x{code:02X}\t\t# UNDEFINED\n")
    return "".join(lines)


@pytest.mark.parametrize(
    ("charset", "codec"),
    [
        ("ascii", "ascii"),
        ("caseswap", "ascii"),
        ("koi8-r", "koi8-r"),
        ("cp1252", "cp1252"),
        ("cp437", "cp437"),
        ("cp037", "cp037"),
        ("cp500", "cp500"),
        ("iso8859-8", "iso8859-8"),
        ("file:maps/own.txt", "iso8859-5"),
        ("file:maps/own.txt", "cp1140"),
    ],
)
async def test_ask_in_a_charset(charset: str, codec: str, httpserver: HTTPServer, tmp_path: Path) -> None:
    """Letters that the codec has arrive; the others as the library anyascii spells them."""
    body = json.dumps([{"text": text} for text in ROWS], ensure_ascii=False).encode()
    httpserver.expect_request("/rows.json").respond_with_data(body, content_type="application/json")
    (tmp_path / "maps").mkdir()
    (tmp_path / "maps" / "own.txt").write_text(published(codec))
    text = CATALOGUE.format(charset=charset, url=httpserver.url_for("/rows.json"))
    requests = ["ASK rows", "SET", "ASK nothing", "NOOP 'Last one'"]
    if charset == "caseswap":
        data = b"".join(each.swapcase().encode() + b"\r" for each in requests)
    else:
        data = b"".join(each.encode(codec) + b"\r" for each in requests)
    async with running(text, tmp_path) as bound:
        answer = await talk(bound.host, bound.port, data)
    lines = answer.split(b"\r\n")
    assert not any(byte < 0x20 or byte == 0x7F for line in lines for byte in line)
    said = [codecs.decode(each, codec) for each in lines]
    if charset == "caseswap":
        said = [each.swapcase() for each in said]
    expected = [
        "".join(each if has(each, codec) else anyascii(each) for each in text)[:30].ljust(30) for text in ROWS
    ]
    if codec in {"cp037", "cp500", "cp1140"}:
        expected = [each.translate(QUOTES) for each in expected]
    assert said[0] == f"200 {len(ROWS):05} 030 .."
    assert said[1 : len(ROWS) + 1] == expected
    shown = "table:own" if charset.startswith("file:") else charset
    assert f"CHARSET  {shown}".ljust(32) in said
    assert "maps" not in "".join(said)
    assert said[-5:] == [
        "550 00001 032 ..",
        "No source NOTHING".ljust(32),
        "200 00001 032 ..",
        "Last one".ljust(32),
        "",
    ]
