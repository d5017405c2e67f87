"""Hrefs: RFC 4918 section 8.3, RFC 3986 sections 2.1 and 5.2.4; what else servers send is common practice."""

from urllib.parse import unquote_to_bytes

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.dav.hrefs import path_of
from adapters.files import quoted

BASE = "/club/docs/"


@pytest.mark.parametrize(
    ("href", "sent", "segments"),
    [
        ("/club/docs/notes.txt", "/club/docs/notes.txt", [b"club", b"docs", b"notes.txt"]),
        ("http://other.example:81/club/x", "/club/x", [b"club", b"x"]),  # only the path counts
        ("HTTPS://h.example", "/", []),
        ("http://h.example/", "/", []),
        ("plain.txt", "/club/docs/plain.txt", [b"club", b"docs", b"plain.txt"]),
        ("a:b.txt", "/club/docs/a:b.txt", [b"club", b"docs", b"a:b.txt"]),  # no scheme: no slashes follow
        ("./x", "/club/docs/x", [b"club", b"docs", b"x"]),
        ("../x", "/club/x", [b"club", b"x"]),
        ("/a/../../b", "/b", [b"b"]),
        ("/a/b/..", "/a/", [b"a"]),
        ("//club//docs/x", "//club//docs/x", [b"club", b"docs", b"x"]),  # no host: doubled slashes
        ("/a+b", "/a+b", [b"a+b"]),
        ("/a%2520b", "/a%2520b", [b"a%20b"]),  # decoded once
        ("/raw name", "/raw%20name", [b"raw name"]),
        ("/grün", "/gr%C3%BCn", ["grün".encode()]),
        ("/gr%FCn", "/gr%FCn", [b"gr\xfcn"]),
        ("/50% off", "/50%25%20off", [b"50% off"]),
        ("/what?", "/what%3F", [b"what?"]),
        ("/no#1", "/no%231", [b"no#1"]),
        ("%2fclub%2Fdocs%2fx", "/club/docs/x", [b"club", b"docs", b"x"]),
        ("/club%2Fdocs", "/club%2Fdocs", [b"club/docs"]),  # with a slash of its own, this one is in a name
        ("  /club/docs/x\r\n", "/club/docs/x", [b"club", b"docs", b"x"]),
    ],
)
def test_an_href_is_a_path(href: str, sent: str, segments: list[bytes]) -> None:
    path = path_of(href, BASE)
    assert (path.sent, path.segments) == (sent, tuple(segments))


@given(st.binary(min_size=1, max_size=30).filter(lambda name: name not in {b".", b".."}))
def test_every_name_there_and_back(name: bytes) -> None:
    path = path_of(f"/club/{quoted(name)}", BASE)
    assert path.segments == (b"club", name)
    assert path.plain


@given(st.text(max_size=40))
def test_whatever_comes_can_be_sent_back(href: str) -> None:
    path = path_of(href, BASE)
    assert path.sent.startswith("/")
    assert all("!" <= each <= "~" and each not in '"#<>?[]\\^`{|}' for each in path.sent)
    assert b"/".join(path.segments) == b"/".join(
        unquote_to_bytes(each) for each in path.sent.split("/") if each
    )
    assert path_of(path.sent, "/elsewhere/") == path
