"""file URLs (RFC 8089) -> a folder on disk and names, each decoded once, none leading out."""

import pytest
from hypothesis import given

from adapters.errors import HeadraceError, NameNotAllowed, NotAllowed
from adapters.files import Target
from adapters.local.locations import Location, location_of
from tests.adapters.file_contract import segments

ROOT = "file:///srv/quay%20yard/"


@pytest.mark.parametrize(
    ("rest", "names"),
    [
        ("", ()),
        ("a", (b"a",)),
        ("a/b/", (b"a", b"b")),
        ("a//b", (b"a", b"b")),
        ("%2541", (b"%41",)),
        ("a%5Cb", (b"a\\b",)),
        ("%FF%20", (b"\xff ",)),
        ("...", (b"...",)),
    ],
)
def test_names_are_decoded_once(rest: str, names: tuple[bytes, ...]) -> None:
    assert location_of(Target(ROOT + rest, ROOT)) == Location(b"/srv/quay yard", names)


def test_the_root_without_its_slash_is_the_root() -> None:
    assert location_of(Target(ROOT.rstrip("/"), ROOT)).names == ()


@given(segments())
def test_any_name_survives(name: bytes) -> None:
    target = Target(ROOT, ROOT).within(b"folder").within(name)
    assert location_of(target).names == (b"folder", name)
    assert target.name == name


@pytest.mark.parametrize(
    "root", ["file:///", "file://localhost/", "FILE:///", "file:///%2Fetc/", "file:///a/../"], ids=str
)
def test_roots(root: str) -> None:
    """RFC 8089 section 2: an empty host, or localhost, is this machine."""
    if "%2F" in root or ".." in root:
        with pytest.raises(HeadraceError):
            location_of(Target(root, root))
    else:
        assert location_of(Target(root + "a", root)) == Location(b"/", (b"a",))


@pytest.mark.parametrize(
    ("url", "root", "kind"),
    [
        (ROOT + "..", ROOT, NotAllowed),
        (ROOT + "a/%2E%2e/b", ROOT, NotAllowed),
        (ROOT + "./a", ROOT, NotAllowed),
        (ROOT + "a%2Fb", ROOT, NameNotAllowed),
        (ROOT + "..%2F..%2Fetc", ROOT, NameNotAllowed),
        (ROOT + "a%00", ROOT, NameNotAllowed),
        (ROOT + "a?b", ROOT, NameNotAllowed),
        (ROOT + "a#b", ROOT, NameNotAllowed),
        ("file:///etc/passwd", ROOT, NotAllowed),
        ("file:///srv/quay%20yard-else/a", ROOT, NotAllowed),
        ("file:///etc/passwd", "file:///etc/passwd", NotAllowed),
        ("file:///etc", "file:///etc", NotAllowed),
        ("file:", "file:", NotAllowed),
        ("file://", "file://", NotAllowed),
        ("file://far.example/a/b", "file://far.example/a/", NotAllowed),
        ("http://far.example/a", "http://far.example/", NotAllowed),
        ("file:/a/b", "file:/a/", NotAllowed),
    ],
)
def test_what_is_in_no_place(url: str, root: str, kind: type[HeadraceError]) -> None:
    with pytest.raises(HeadraceError) as caught:
        location_of(Target(url, root))
    assert type(caught.value) is kind
