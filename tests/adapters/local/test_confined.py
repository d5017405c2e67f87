"""A walk from an open root: links are followed within it, and nothing leads out (openat(2), symlink(7))."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.errors import HeadraceError, NameNotAllowed, NotAllowed, NotThere
from adapters.local.confined import FOLDERS, LINKS, SELF, spot, spot_to_be


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A place with folders a/b, a document in each, and one outside."""
    (tmp_path / "secret").write_bytes(b"outside")
    folder = tmp_path / "place"
    (folder / "a" / "b").mkdir(parents=True)
    for each in (folder, folder / "a", folder / "a" / "b"):
        (each / "document").write_bytes(str(each.relative_to(folder)).encode())
    return folder


def read(place: Path, *names: str) -> bytes:
    with spot(bytes(place), [os.fsencode(each) for each in names]) as found:
        descriptor = found.open_document()
        try:
            return os.read(descriptor, 1000)
        finally:
            os.close(descriptor)


@pytest.mark.parametrize(
    ("goal", "body"),
    [
        ("document", b"."),
        ("./a/./document", b"a"),
        ("a//b//document", b"a/b"),
        ("a/b/../document", b"a"),
        ("a/b/../../document", b"."),
        ("{place}/a/document", b"a"),
        ("{place}/a/../document", b"."),
        ("chain", b"a/b"),
        ("into/document", b"a/b"),
        ("into/../document", b"a"),
    ],
)
def test_links_within(place: Path, goal: str, body: bytes) -> None:
    """`..` behind a link means the folder above where it led to (path_resolution(7))."""
    (place / "chain").symlink_to("into/document")
    (place / "into").symlink_to("a/b")
    (place / "link").symlink_to(goal.format(place=place))
    assert read(place, "link") == body
    assert read(place, "link") == (place / "link").read_bytes()  # as the kernel has it


@pytest.mark.parametrize(
    "goal",
    [
        "../secret",
        "a/../../secret",
        "a/b/../../../secret",
        "../place/document",
        "{place}/../secret",
        "{place}-else/secret",
        "{place.parent}/secret",
        "/etc/passwd",
        "/",
        "..",
        "/proc/self/root",
        "out",
        "up/secret",
        "link",
    ],
)
def test_links_that_lead_out_or_nowhere(place: Path, goal: str) -> None:
    (place / "out").symlink_to("../secret")
    (place / "up").symlink_to("..")
    (place / "link").symlink_to(goal.format(place=place))
    for names in (("link",), ("link", "document")):
        with pytest.raises(NotAllowed):
            read(place, *names)


def test_where_the_links_run_out(place: Path) -> None:
    """Forty, as in path_resolution(7)."""
    (place / "0").symlink_to("document")
    for number in range(1, LINKS + 1):
        (place / str(number)).symlink_to(str(number - 1))
    assert read(place, str(LINKS - 1)) == b"."
    with pytest.raises(NotAllowed):
        read(place, str(LINKS))


def test_where_the_folders_run_out(place: Path) -> None:
    """Each folder on the way is an open descriptor, so that there must be an end."""
    deep = place
    names = ["d"] * (FOLDERS + 1)
    parent = os.open(deep, os.O_RDONLY)
    for name in names:
        os.mkdir(name, dir_fd=parent)
        child = os.open(name, os.O_RDONLY, dir_fd=parent)
        os.close(parent)
        parent = child
    os.close(parent)
    with spot(bytes(place), [each.encode() for each in names[: FOLDERS - 1]]) as found:
        assert found.look() is not None
    with pytest.raises(NameNotAllowed), spot(bytes(place), [each.encode() for each in names]):
        pass


def test_the_last_name_need_not_be_there(place: Path) -> None:
    (place / "dangling").symlink_to("a/new")
    with spot(bytes(place), [b"dangling"]) as found:
        assert (found.name, found.look()) == (b"new", None)
        os.close(os.open(found.name, os.O_CREAT | os.O_WRONLY, dir_fd=found.folder))
    assert (place / "a" / "new").exists()
    with spot(bytes(place), [b"dangling"], follow=False) as found:
        assert found.name == b"dangling"
    for names in ([b"missing", b"x"], [b"missing", b"x", b"y"]):
        with pytest.raises(FileNotFoundError), spot(bytes(place), names):
            pass
    with pytest.raises(NotThere), spot(bytes(place), [b"document", b"x"]):
        pass


def test_the_root_itself(place: Path) -> None:
    (place / "a" / "home").symlink_to("..")
    for names in ([], [b"a", b"home"]):
        with spot(bytes(place), names) as found:
            assert found.name == SELF
            here = found.look()
            assert here is not None
            assert here.st_ino == place.stat().st_ino


def test_a_folder_that_is_moved_away_while_it_is_walked_leads_nowhere_else(place: Path) -> None:
    """`..` goes back along the folders walked through, not to where the folder has gone meanwhile."""
    with spot(bytes(place), [b"a", b"b", b"document"]) as found:
        (place / "a" / "b").rename(place.parent / "b")
        (place.parent / "b" / "up").symlink_to("../secret")
        assert found.look() is not None  # the folder is still the one that was walked into
    with pytest.raises(FileNotFoundError), spot(bytes(place), [b"a", b"b", b"up"]):
        pass


parts = st.sampled_from(["a", "b", "document", "..", ".", "", "l0", "l1", "l2", "up"])
goals = st.lists(parts, min_size=1, max_size=5).map("/".join).filter(lambda goal: goal.strip("/") != "")


@pytest.mark.parametrize("goal", ["document/", "document/.", "document/..", "document/x"])
def test_a_document_is_no_folder(place: Path, goal: str) -> None:
    """path_resolution(7): a trailing slash wants a directory."""
    (place / "link").symlink_to(goal)
    with pytest.raises(NotThere):
        read(place, "link")
    with pytest.raises(NotADirectoryError):
        (place / "link").read_bytes()  # as the kernel has it


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    links=st.lists(goals, min_size=3, max_size=3), names=st.lists(parts.filter(bool), min_size=1, max_size=4)
)
def test_no_web_of_links_leads_out(place: Path, links: list[str], names: list[str]) -> None:
    """What is read is what the kernel reads there, and only where that is within the place."""
    for number, goal in enumerate([*links, "a/b/.."]):
        link = place / ("up" if number == 3 else f"l{number}")
        link.unlink(missing_ok=True)
        link.symlink_to(goal.lstrip("/") or ".")
    try:
        body = read(place, *names)
    except (HeadraceError, OSError):
        return
    path = place / "/".join(names)
    assert body == path.read_bytes()
    assert path.resolve().is_relative_to(place.resolve())


def test_no_descriptor_is_lost(place: Path) -> None:
    (place / "out").symlink_to("a/b/../../../secret")
    before = len(list(Path("/proc/self/fd").iterdir()))
    for _ in range(3):
        read(place, "a", "b", "document")
        for names in (["out"], ["a", "b", "missing", "x"], ["a", "document", "x"]):
            with pytest.raises((HeadraceError, OSError)):
                read(place, *names)
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_a_folder_that_is_missing_is_told_apart(place: Path) -> None:
    """What is to be there needs its folder; what is looked for is not there, whatever is missing."""
    for names in ((b"missing", b"new"), (b"document", b"new"), (b"a", b"missing", b"deeper", b"new")):
        with pytest.raises(NotThere, match="No such folder there"), spot_to_be(bytes(place), names):
            pass
    with spot_to_be(bytes(place), (b"a", b"new")) as found:
        assert (found.name, found.look()) == (b"new", None)
