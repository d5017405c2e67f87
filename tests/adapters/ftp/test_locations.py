"""URLs: RFC 1738 section 3.2.2 (what a path is relative to), RFC 3986 section 3, RFC 959 section 5.3.1."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.errors import HeadraceError, NameNotAllowed, NotAllowed, NotPossible, WrongWords
from adapters.files import Target
from adapters.ftp.locations import (
    ANONYMOUS,
    Path,
    Server,
    is_odd,
    located,
    login_of,
    odd_name_guarded,
)
from adapters.port import CredentialKind, Credentials


def target(url: str, root: str = "") -> Target:
    return Target(url, root or url)


@pytest.mark.parametrize(
    ("url", "home", "spelled"),
    [
        # RFC 1738 section 3.2.2: relative to the login's folder; %2F first is absolute
        ("ftp://files.example/pub/x", b"/home/reader", b"/home/reader/pub/x"),
        ("ftp://files.example/%2Fetc/motd", b"/home/reader", b"/etc/motd"),
        ("ftp://files.example/%2fetc/motd", b"/home/reader", b"/etc/motd"),
        ("ftp://files.example/%2F", b"/home/reader", b"/"),
        ("ftp://files.example/", b"/home/reader", b"/home/reader"),
        ("ftp://files.example", b"/", b"/"),
        ("ftp://files.example/pub", b"/", b"/pub"),
        ("ftp://files.example/pub//x/", b"/", b"/pub/x"),
        # a server that does not tell its folder is spoken to relatively
        ("ftp://files.example/pub/x", None, b"pub/x"),
        ("ftp://files.example/-pub", None, b"./-pub"),
        ("ftp://files.example/", None, b"."),
        # names are bytes, decoded once
        ("ftp://files.example/a%20b%2520%FFc;type=i", b"/", b"/a b%20\xffc;type=i"),
        ("ftp://files.example/%C3%BC", b"/", "/ü".encode()),
    ],
)
def test_paths(url: str, home: bytes | None, spelled: bytes) -> None:
    assert located(target(url)).path.spelled(home) == spelled


@pytest.mark.parametrize(
    ("url", "server"),
    [
        ("ftp://Files.Example/x", Server("ftp", "files.example", 21)),
        ("ftps://files.example/x", Server("ftps", "files.example", 21)),  # AUTH TLS, RFC 4217
        ("ftps://files.example:990/x", Server("ftps", "files.example", 990)),
        ("ftp://[2001:DB8::1]:2121/x", Server("ftp", "2001:db8::1", 2121)),
    ],
)
def test_servers(url: str, server: Server) -> None:
    found = located(target(url)).server
    assert found == server
    assert (found.tls, found.implicit) == (url.startswith("ftps"), ":990" in url)
    assert str(found).startswith(url[:6].lower())


@pytest.mark.parametrize(
    "url",
    ["", "ftp:", "ftp://", "ftp:///x", "http://files.example/", "ftp://x:99999/", "ftp://x:y/", "ftp://[::1",
     "ftp://exa mple/", "ftp://x/a b", "ftp://x/a?b", "ftp://x/a#b", "ftp://u@x/", "ftp://u:p@x/", "ftp://ü/"],
)  # fmt: skip
def test_no_urls(url: str) -> None:
    with pytest.raises(WrongWords):
        located(target(url))


@pytest.mark.parametrize("name", ["a%0Ab", "a%0Db", "a%00b", "a%2Fb", "%FF%F4", "%FF%FF"])
def test_no_names(name: str) -> None:
    with pytest.raises(NameNotAllowed):
        located(target(f"ftp://files.example/{name}"))


@pytest.mark.parametrize(
    "path", ["..", "pub/../x", "%2e%2e/x", "pub/.", "../pub/x", "other/x", "%2Fpub/x", "pubs"]
)
def test_outside_the_place(path: str) -> None:
    with pytest.raises(NotAllowed):
        located(target(f"ftp://files.example/{path}", "ftp://files.example/pub/"))


@pytest.mark.parametrize(
    "root", ["ftp://other.example/", "ftps://files.example/", "ftp://files.example:2121/"]
)
def test_another_server_is_outside(root: str) -> None:
    with pytest.raises(NotAllowed):
        located(target("ftp://files.example/x", root))


def test_logins() -> None:
    assert login_of(target("ftp://files.example/")) == ANONYMOUS
    basic = Credentials(CredentialKind.BASIC, "reader", "quiet water")
    assert login_of(Target("ftp://x/", "ftp://x/", basic)) == ("reader", "quiet water")
    with pytest.raises(NotPossible):
        login_of(Target("ftp://x/", "ftp://x/", Credentials(CredentialKind.BEARER, "", "x")))
    for bad in ("x\r\nDELE y", "x\n", "\0"):
        for pair in (("reader", bad), (bad, "x")):
            with pytest.raises(WrongWords):
                login_of(Target("ftp://x/", "ftp://x/", Credentials(CredentialKind.BASIC, *pair)))


@pytest.mark.parametrize(
    ("name", "argument"),
    [(b"x", b"x"), (b" x", b"./ x"), (b"-x", b"./-x"), (b"~x", b"./~x"), (b"\tx", b"./\tx"), (b".x", b".x")],
)
def test_names_that_could_be_something_else(name: bytes, argument: bytes) -> None:
    assert odd_name_guarded(name) == argument


@pytest.mark.parametrize(
    ("name", "odd"), [(b"x y", False), (b" x", True), (b"x ", True), (b"x\ty", True), (b"\xff", False)]
)
def test_names_that_some_servers_change(name: bytes, odd: bool) -> None:
    assert is_odd(name) is odd


def test_parents() -> None:
    path = Path((b"a", b"b"), absolute=True)
    assert (path.parent, path.name) == (Path((b"a",), absolute=True), b"b")
    assert (Path(()).parent, Path(()).name) == (Path(()), b"")


@given(st.text())
def test_no_text_raises_anything_else(text: str) -> None:
    for url in (text, "ftp://x/" + text, "ftps://" + text):
        try:
            path = located(target(url)).path
        except HeadraceError as error:
            assert error.code in {501, 532, 553}
        else:
            assert not any(each in path.spelled(b"/") for each in b"\r\n\0")
