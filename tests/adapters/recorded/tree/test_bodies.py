from dataclasses import replace
from pathlib import Path

import pytest

from adapters import limits
from adapters.files import Kind, Stat
from adapters.recorded.exchange import Asked, Content, Exchange, Failure, Message, Told
from adapters.recorded.tree.bodies import files_of, is_text, reply_type
from adapters.recorded.tree.toml_text import Files
from tests.adapters.recorded.exchanges import NOON, got


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"", True),
        (b'{"name": "MOLE"}\r\n\tx', True),
        ("übersicht".encode(), True),
        (b"caf\xe9", False),
        (b"a\0", False),
        (b"\x1b[1m", False),
        (b"x" * limits.RECORDED_TEXT, True),
        (b"x" * (limits.RECORDED_TEXT + 1), False),
    ],
)
def test_what_stands_in_the_file_itself(data: bytes, text: bool) -> None:
    assert is_text(Content(data)) is text


def test_where_the_bodies_are() -> None:
    one = got("http://a.example/")
    files = Message(200, (), Content(path=Path("/x/reply.1.json")))
    assert files_of(replace(one, reply=Message(204))) == Files()
    asked = replace(one.asked, body=Content(b"text"))
    assert files_of(replace(one, asked=asked, reply=files)) == Files(text="text", reply="reply.1.json")
    asked = replace(one.asked, body=Content(path=Path("/x/asked.1.bin")))
    assert files_of(replace(one, asked=asked, reply=Failure("TooSlow", ""))) == Files(asked="asked.1.bin")


def test_the_type_of_the_reply() -> None:
    assert reply_type(got("http://a.example/", kind="text/csv")) == "text/csv"
    asked = Asked("READ", "ftp://a.example/x")
    assert reply_type(Exchange(asked, Told(stat=Stat(Kind.FILE, media_type="text/csv")), NOON)) == "text/csv"
    assert (
        reply_type(Exchange(asked, Told(), NOON)) == reply_type(Exchange(asked, Failure("", ""), NOON)) == ""
    )
