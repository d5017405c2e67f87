"""RFC 3986 section 5.4's tables, and paths that never leave their place."""

import posixpath
import urllib.parse

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import NotAllowed, WrongWords
from gateway.catalogue.calling.refs import resolve, within, without_dots

BASE = "http://a/b/c/d;p?q"

NORMAL = [  # RFC 3986 section 5.4.1
    ("g:h", "g:h"),
    ("g", "http://a/b/c/g"),
    ("./g", "http://a/b/c/g"),
    ("g/", "http://a/b/c/g/"),
    ("/g", "http://a/g"),
    ("//g", "http://g"),
    ("?y", "http://a/b/c/d;p?y"),
    ("g?y", "http://a/b/c/g?y"),
    ("#s", "http://a/b/c/d;p?q#s"),
    ("g#s", "http://a/b/c/g#s"),
    ("g?y#s", "http://a/b/c/g?y#s"),
    (";x", "http://a/b/c/;x"),
    ("g;x", "http://a/b/c/g;x"),
    ("g;x?y#s", "http://a/b/c/g;x?y#s"),
    ("", "http://a/b/c/d;p?q"),
    (".", "http://a/b/c/"),
    ("./", "http://a/b/c/"),
    ("..", "http://a/b/"),
    ("../", "http://a/b/"),
    ("../g", "http://a/b/g"),
    ("../..", "http://a/"),
    ("../../", "http://a/"),
    ("../../g", "http://a/g"),
]
ABNORMAL = [  # RFC 3986 section 5.4.2; the last is the strict reading
    ("../../../g", "http://a/g"),
    ("../../../../g", "http://a/g"),
    ("/./g", "http://a/g"),
    ("/../g", "http://a/g"),
    ("g.", "http://a/b/c/g."),
    (".g", "http://a/b/c/.g"),
    ("g..", "http://a/b/c/g.."),
    ("..g", "http://a/b/c/..g"),
    ("./../g", "http://a/b/g"),
    ("./g/.", "http://a/b/c/g/"),
    ("g/./h", "http://a/b/c/g/h"),
    ("g/../h", "http://a/b/c/h"),
    ("g;x=1/./y", "http://a/b/c/g;x=1/y"),
    ("g;x=1/../y", "http://a/b/c/y"),
    ("g?y/./x", "http://a/b/c/g?y/./x"),
    ("g?y/../x", "http://a/b/c/g?y/../x"),
    ("g#s/./x", "http://a/b/c/g#s/./x"),
    ("g#s/../x", "http://a/b/c/g#s/../x"),
    ("http:g", "http:g"),
]


@pytest.mark.parametrize(("reference", "target"), NORMAL + ABNORMAL)
def test_section_5_4(reference: str, target: str) -> None:
    assert resolve(BASE, reference) == target


def test_examples_of_section_5_2_4() -> None:
    assert without_dots("/a/b/c/./../../g") == "/a/g"
    assert without_dots("mid/content=5/../6") == "mid/6"


def test_a_base_without_a_path() -> None:
    """Section 5.2.3."""
    assert resolve("http://a", "g") == "http://a/g"
    assert resolve("http://a?q", "g") == "http://a/g"


@given(st.text(st.sampled_from("abg./?;#:"), max_size=12).filter(lambda text: not text.startswith("//")))
def test_urllib_agrees_on_paths(reference: str) -> None:
    """urllib.parse.urljoin, but for `:`, `;` and empty parts, where it keeps to older rules."""
    if ":" in reference or "//" in reference or reference.endswith(("?", "#")) or "?#" in reference:
        return
    if (
        ";" in reference.partition("?")[0].partition("#")[0]
        or not reference.partition("?")[0].partition("#")[0]
    ):
        return
    assert resolve("http://a/b/c/d", reference) == urllib.parse.urljoin("http://a/b/c/d", reference)


WEB = "https://files.example/pub/"
FTP = "ftp://files.example/pub/"


@pytest.mark.parametrize(
    ("path", "url"),
    [
        ("", WEB),
        ("a", WEB + "a"),
        ("a/b.txt", WEB + "a/b.txt"),
        ("a/", WEB + "a/"),
        ("/a", WEB + "a"),
        ("//evil.example/x", WEB + "evil.example/x"),
        ("http://evil.example/x", WEB + "http://evil.example/x"),
        ("..", WEB),
        ("../..", WEB),
        ("../../etc/passwd", WEB + "etc/passwd"),
        ("a/../b", WEB + "b"),
        ("a/./b", WEB + "a/b"),
        ("a/b/..", WEB + "a/"),
        ("a/.", WEB + "a/"),
        ("%2e%2e/%2E%2e/x", WEB + "x"),
        (".%2e/x", WEB + "x"),
        ("a?x=1&y=%2e", WEB + "a?x=1&y=%2e"),
        ("a?x=../..", WEB + "a?x=../.."),
        ("a#b", WEB + "a"),
        ("my file.txt", WEB + "my%20file.txt"),
        ("my%20file.txt", WEB + "my%20file.txt"),
        ("100%", WEB + "100%25"),
        ("é", WEB + "%C3%A9"),
        ("%e9", WEB + "%e9"),
        ("a%2Fb", WEB + "a%2Fb"),
        ("...", WEB + "..."),
        ("a..b/..c", WEB + "a..b/..c"),
        ("a+b;c=1", WEB + "a+b;c=1"),
        ('a"<>b', WEB + "a%22%3C%3Eb"),
    ],
)
def test_paths_of_a_place_on_the_web(path: str, url: str) -> None:
    assert within(WEB, path) == url


@pytest.mark.parametrize(
    ("path", "name"), [("a?b", "a%3Fb"), ("a#b", "a%23b"), ("x/50% off", "x/50%25%20off")]
)
def test_elsewhere_question_marks_and_hashes_belong_to_names(path: str, name: str) -> None:
    assert within(FTP, path) == FTP + name


@pytest.mark.parametrize(
    "path",
    [
        "..%2f..%2fetc",
        "a%2f..",
        "..\\..\\etc",
        "..%5c..",
        "%2e%2e%5cx",
        "%252e%252e/x",
        "%252e%252e%252fx",
        "..;/x",
        "..;a=1/x",
        "..%20/x",
    ],
)
@pytest.mark.parametrize("base", [WEB, FTP])
def test_what_some_server_may_take_for_a_way_out(base: str, path: str) -> None:
    with pytest.raises(NotAllowed):
        within(base, path)


@pytest.mark.parametrize("path", ["a%2fb", "%2fetc", "a\\b", "c:%5cx"])
def test_a_files_name_holds_no_separator(path: str) -> None:
    sentence = "A ref may not leave its place" if "%2f" in path else r"No \\ in a name"
    with pytest.raises(NotAllowed, match=sentence):
        within("file:///srv/pub/", path)


@pytest.mark.parametrize("path", ["a%00b", "a%0d%0ab", "%7f", "a\x1bb"])
def test_no_control_characters(path: str) -> None:
    with pytest.raises(WrongWords):
        within(WEB, path)


def test_a_stream_has_no_paths() -> None:
    assert within("tcp://wire.example:7000", "") == "tcp://wire.example:7000"
    with pytest.raises(WrongWords):
        within("tcp://wire.example:7000", "x")


_STEPS = st.sampled_from(
    [".", "..", "/", "%2e", "%2E", "%2f", "%5c", "\\", ";", "a", "b c", "%25", "2e", "?", "#", "é", "//"]
)


@given(st.lists(_STEPS, max_size=10).map("".join), st.sampled_from([WEB, FTP, "file:///srv/pub/"]))
def test_no_path_leaves_its_place_however_often_it_is_decoded(path: str, base: str) -> None:
    """Against posixpath.normpath, which is what a file server does with a path."""
    try:
        url = within(base, path)
    except (NotAllowed, WrongWords):
        return
    assert url.startswith(base)
    root = urllib.parse.urlsplit(base).path.rstrip("/")
    shown = urllib.parse.urlsplit(url).path
    for _ in range(5):
        normal = posixpath.normpath(shown.replace("\\", "/"))
        assert normal == root or normal.startswith(root + "/")
        shown = urllib.parse.unquote(shown)


@given(st.lists(st.sampled_from(["a", "b.txt", "é", "..", "."]), min_size=1, max_size=5))
def test_inside_the_place_it_is_the_resolution_of_rfc_3986(names: list[str]) -> None:
    path = "/".join(names)
    resolved = resolve(WEB, urllib.parse.quote(path))
    if resolved.startswith(WEB):
        depth = 0
        for name in names:
            depth += 0 if name == "." else -1 if name == ".." else 1
            if depth < 0:
                return
        assert within(WEB, path) == resolved


@pytest.mark.parametrize(
    ("path", "rest"),
    [
        ("/a/b/c/./../../g", "/a/g"),
        ("mid/content=5/../6", "mid/6"),
        ("../g", "g"),
        ("./../g", "g"),
        (".", ""),
        ("..", ""),
        ("/..", "/"),
    ],
)
def test_dots_are_taken_away_by_rfc_3986_section_5_2_4(path: str, rest: str) -> None:
    """The first two are the section's own examples; the others are its steps 2A to 2D."""
    assert without_dots(path) == rest


@pytest.mark.parametrize(
    ("base", "typed", "url"),
    [
        ("file:///a/", "%74.txt", "file:///a/t.txt"),
        ("ftp://h.example/", "%41%2d%5F%7e%2E%28x%29", "ftp://h.example/A-_~.(x)"),
        ("davs://h.example/", "a%3bb", "davs://h.example/a;b"),
        ("dav://h.example/", "q?x=1#2", "dav://h.example/q%3Fx=1%232"),
        ("http://h.example/", "q?x=1#2", "http://h.example/q?x=1"),
        ("https://h.example/", "%74%3bx%2fy", "https://h.example/t%3bx%2fy"),
        ("https://h.example/", "%e4?q=%74", "https://h.example/%e4?q=%74"),
        ("ftp://h.example/", "%e4", "ftp://h.example/%E4"),
        ("ftp://h.example/", "100%", "ftp://h.example/100%25"),
    ],
)
def test_a_name_has_one_spelling(base: str, typed: str, url: str) -> None:
    """RFC 3986 section 6.2.2.2; a web server may tell `%3b` from `;` (section 2.2), a folder may not."""
    assert within(base, typed) == url
