"""Targets of dav and davs: which HTTP URL they are, and that nothing leaves the place."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.dav.places import dav_url, placed, same_url
from adapters.errors import HeadraceError, NameNotAllowed, NotAllowed, WrongWords
from adapters.files import Target, quoted

ROOT = "dav://h.example/club/"


def at(path: str, root: str = ROOT) -> Target:
    return Target(root + path, root)


def test_dav_is_http_and_davs_is_https() -> None:
    assert placed(at("a")).target.url == "http://h.example/club/a"
    assert placed(at("a", "davs://h.example:444/x/")).target.url == "https://h.example:444/x/a"
    assert placed(at("a", "DAV://h.example/")).target.url == "http://h.example/a"
    assert placed(Target("dav://h.example", "dav://h.example/")).target.url == "http://h.example/"
    assert dav_url("https://h.example/a") == "davs://h.example/a"
    assert dav_url("http://h.example/a") == "dav://h.example/a"


def test_a_host_is_named_as_the_host_field_has_it() -> None:
    """RFC 3490 as Python's codec has it; a default port is left out (RFC 9110 sections 4.2.3 and 7.2)."""
    place = placed(at("a%2Bb+c", "dav://GRÜN.example:80/"))
    host = "grün.example".encode("idna").decode("ascii")
    assert place.target.url == f"http://{host}/a%2Bb+c"
    assert place.names == (b"a+b+c",)


def test_urls_that_differ_in_encoding_only() -> None:
    assert same_url("http://h.example/a%20b%2f", "http://h.example/a b/")
    assert not same_url("http://h.example/a+b", "http://h.example/a b")


def test_folders_end_in_a_slash_and_documents_do_not() -> None:
    for path in ("a/b", "a/b/"):
        place = placed(at(path))
        assert place.names == (b"club", b"a", b"b")
        assert place.document.url == "http://h.example/club/a/b"
        assert place.folder.url == "http://h.example/club/a/b/"
        assert place.parent.url == "http://h.example/club/a/"
    root = placed(Target("dav://h.example/", "dav://h.example/"))
    assert (root.document.url, root.folder.url, root.at_root) == ("http://h.example/",) * 2 + (True,)


def test_the_root() -> None:
    assert placed(at("")).at_root
    assert placed(Target("dav://h.example/club", ROOT)).at_root
    assert not placed(at("a")).at_root


@pytest.mark.parametrize(
    "target",
    [
        at(".."),
        at("a/%2e%2E/%2e%2e/b"),
        at("a%2F..%2F..%2Fb"),
        at("a%5C..%5Cb"),
        Target("dav://h.example/", ROOT),
        Target("dav://h.example/clubs/a", ROOT),
        Target("dav://h.example:81/club/a", ROOT),
        Target("davs://h.example/club/a", ROOT),
        Target("dav://other.example/club/a", ROOT),
    ],
)
def test_outside_of_the_root(target: Target) -> None:
    with pytest.raises(NotAllowed):
        placed(target)


@pytest.mark.parametrize("path", ["a%2Fb", "a%00b"])
def test_names_that_no_server_can_have(path: str) -> None:
    with pytest.raises(NameNotAllowed):
        placed(at(path))


@pytest.mark.parametrize(
    "url",
    ["", "dav:", "dav:///x", "http://h.example/club/a", "ftp://h.example/club/a", ROOT + "a?b", ROOT + "a#b"],
)
def test_what_is_no_dav_url(url: str) -> None:
    with pytest.raises(WrongWords):
        placed(Target(url, ROOT))


def test_temporary_names() -> None:
    place = placed(at("report.txt"))
    first, second = place.temporary(), place.temporary()
    assert first.url.startswith("http://h.example/club/report.txt.hr-")
    assert first.url.endswith(".part")
    assert first.url != second.url
    for name in (b"x" * 255, b"a;b", b"what?", b"#1"):  # too long for a disk, or odd in a Destination
        assert placed(at(quoted(name))).temporary().url.startswith("http://h.example/club/hr-")


def test_one_inside_of_the_other() -> None:
    assert placed(at("a")).contains(placed(at("a/b")))
    assert placed(at("a/")).contains(placed(at("a")))
    assert not placed(at("a")).contains(placed(at("ab")))


@given(st.binary(min_size=1, max_size=40))
def test_every_name_is_placed_or_refused(name: bytes) -> None:
    try:
        place = placed(at(quoted(name)))
    except HeadraceError:
        assert name in {b".", b".."} or b"/" in name or b"\0" in name or b".." in name or b"." in name
    else:
        assert place.names == (b"club", name)
        assert place.document.name == name
