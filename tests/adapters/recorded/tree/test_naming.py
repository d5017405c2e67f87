"""Names that other systems reserve or refuse: common practice, and POSIX's portable file names (IEEE Std
1003.1 section 3.265).
"""

import re
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.recorded.exchange import Asked, Content, Exchange, Message
from adapters.recorded.tree.naming import ending, stem
from tests.adapters.recorded.exchanges import NOON, folder, got, loaded

PORTABLE = re.compile(r"[a-z0-9._,-]{1,140}")


@pytest.mark.parametrize(
    ("method", "url", "name"),
    [
        ("GET", "https://tides.example/v1/mole/events", "https/tides.example/v1/mole/events"),
        ("GET", "http://tides.example:8080/", "http/tides.example,8080/index"),
        ("GET", "http://tides.example", "http/tides.example/index"),
        ("GET", "http://tides.example/a.json?b=c&d=e%20f", "http/tides.example/a.json,b_c_d_e_f"),
        ("POST", "http://tides.example/score", "http/tides.example/score,post"),
        ("LIST", "ftp://[::1]:2121/logs/", "ftp/1,2121/logs/index,list"),
        ("READ", "file:///shelf/a%2Fb/note.txt", "file/_/shelf/a_b/note.txt"),
        ("GET", "http://a.example/../../etc/passwd", "http/a.example/_/_/etc/passwd"),
        ("GET", "http://a.example/%2e%2e/%2e/x", "http/a.example/_/_/x"),
        ("GET", "http://a.example//b///c", "http/a.example/b/c"),
        ("GET", "http://a.example/con/NUL.txt/aux", "http/a.example/_con/_nul.txt/_aux"),
        ("GET", "http://a.example/trailing./blank%20/x", "http/a.example/trailing/blank/x"),
        ("GET", "http://a.example/.hidden", "http/a.example/hidden"),
        ("GET", "http://a.example/%00%1f%7f%ff", "http/a.example/_"),
        ("GET", "http://a.example/b.1.json/c.toml/d.part/e", "http/a.example/b.1.json_/c.toml_/d.part_/e"),
        ("GET", "http://a.example/C:%5Cwindows", "http/a.example/c_windows"),
        ("GET", "http://../x", "http/_/x"),
    ],
)
def test_names(method: str, url: str, name: str) -> None:
    assert stem(method, url) == PurePosixPath(name)


@given(st.text(max_size=80), st.sampled_from(["GET", "LIST", "../X"]))
def test_every_name_is_portable(text: str, method: str) -> None:
    for url in (f"http://a.example/{text}", f"http://{text}/", f"{text}://a.example/x?{text}"):
        name = stem(method, url)
        assert not name.is_absolute()
        assert all(PORTABLE.fullmatch(each) and each.strip(".") for each in name.parts)


def test_long_and_deep_urls_have_short_names() -> None:
    name = stem("GET", "http://a.example/" + "/".join(["x" * 3000] * 300) + "?" + "y" * 9000)
    assert len(str(name)) < 1000
    assert len(name.name) < 140


URLS = [
    "http://a.example/a",
    "http://a.example/a/b",
    "http://a.example/A",
    "http://a.example/A/B",
    "http://a.example/a.1.toml",
    "http://a.example/a.1.toml/b",
    "http://a.example/a.1.json/b",
    "http://a.example/a.json",
    "http://a.example/a.json/b",
    "http://a.example/a?",
    "http://a.example/a.part/b",
    "http://a.example/..%2f..%2f..%2fetc/passwd",
    "http://a.example/../../../b",
    "http://a.example/" + "x" * 400,
    "http://a.example/" + "x" * 401,
    "http://a.example/é",
    "http://a.example/%e9",
    "http://a.example/con",
    "http://../x",
    "site.toml://a.example/",
]


@pytest.mark.parametrize("urls", [URLS, URLS[::-1]])
def test_names_that_meet_are_told_apart(tmp_path: Path, urls: list[str]) -> None:
    made = folder(tmp_path / "site")
    for number, url in enumerate(urls):
        made.add(got(url, b"%d" % number))
    again = loaded(tmp_path / "site")
    for number, url in enumerate(urls):
        (found,) = again.find(Asked("GET", url))
        assert isinstance(found.reply, Message)
        assert found.reply.content == Content(b"%d" % number)
    assert [each.name for each in tmp_path.iterdir()] == ["site"]
    paths = [str(path) for path in made.path.rglob("*")]
    assert len({path.lower() for path in paths}) == len(paths)
    for path in made.path.rglob("*"):
        assert all(PORTABLE.fullmatch(each) for each in path.relative_to(made.path).parts)


@pytest.mark.parametrize(
    ("media_type", "url", "expected"),
    [
        ("application/json; charset=utf-8", "", ".json"),
        ("text/html", "", ".html"),
        ("text/plain", "", ".txt"),
        ("application/problem+json", "", ".json"),
        ("application/atom+xml", "", ".xml"),
        ("image/png", "", ".png"),
        ("application/x-odd", "", ".bin"),
        ("", "ftp://a.example/logs/tide.TXT", ".txt"),
        ("", "ftp://a.example/logs/tide.1", ".bin"),
        ("", "ftp://a.example/logs/.hidden", ".bin"),
        ("", "ftp://a.example/site.toml", ".bin"),
        ("", "ftp://a.example/x.part", ".bin"),
        ("", "http://a.example", ".bin"),
        ("a/b+x/../../c", "", ".bin"),
        ("a/../../b+json", "", ".json"),
    ],
)  # fmt: skip
def test_endings(media_type: str, url: str, expected: str) -> None:
    assert ending(media_type, url) == expected


def test_a_host_in_the_url_alone_is_no_ending(tmp_path: Path) -> None:
    exchange = Exchange(Asked("GET", "http://tides.example"), Message(200, (), Content(b"")), NOON)
    assert folder(tmp_path).add(exchange).name == "index.1.toml"
