"""What open(2) and flock(2) promise is what these hang on."""

import fcntl
import secrets
from pathlib import Path, PurePosixPath

import pytest

from adapters.recorded.tree.disk import TOML, Tree, beside

STEM = PurePosixPath("http/a.example/x")


def test_a_part_can_be_read_while_it_is_written(tmp_path: Path) -> None:
    part = Tree(tmp_path).part()
    part.write(b"ab")
    part.write(b"c")
    assert part.path.read_bytes() == b"abc"
    part.keep(tmp_path / "kept")
    part.drop()
    assert [each.name for each in tmp_path.iterdir()] == ["kept"]
    assert (tmp_path / "kept").read_bytes() == b"abc"


def test_a_claim_takes_the_next_number(tmp_path: Path) -> None:
    one, name = Tree(tmp_path).claim(STEM, [".json"])
    other, behind = Tree(tmp_path).claim(STEM, [".json"])
    assert (name, behind) == (tmp_path / "http/a.example/x.1", tmp_path / "http/a.example/x.2")
    one.keep(beside(name, TOML))
    other.drop()
    again, name = Tree(tmp_path).claim(STEM, [".json"])
    assert name.name == "x.2"
    again.drop()


@pytest.mark.parametrize("taken", ["x.1.toml", "x.1.json", "x.1.toml.part"])
def test_no_file_is_written_over(tmp_path: Path, taken: str) -> None:
    folder = tmp_path / "http/a.example"
    folder.mkdir(parents=True)
    made = Tree(tmp_path)
    made.part().drop()  # it has swept
    (folder / taken).touch()
    part, name = made.claim(STEM, [".json"])
    assert name.name == "x.2"
    part.drop()
    assert [each.name for each in folder.iterdir()] == [taken]


def test_a_link_that_leads_nowhere_is_a_name_too(tmp_path: Path) -> None:
    folder = tmp_path / "http/a.example"
    folder.mkdir(parents=True)
    (folder / "x.1.json").symlink_to(tmp_path / "nowhere")
    part, name = Tree(tmp_path).claim(STEM, [".json"])
    assert name.name == "x.2"
    part.drop()


def test_what_was_left_behind_goes_and_what_is_under_way_stays(tmp_path: Path) -> None:
    busy, name = Tree(tmp_path).claim(STEM, [])
    live = Tree(tmp_path).part()
    left = name.with_name("x.7.toml.part")
    left.touch()
    (tmp_path / "link.part").symlink_to("/dev/null")
    (tmp_path / "folder.part").mkdir()
    part = Tree(tmp_path).part()
    assert not left.exists()
    assert {each.exists() for each in (busy.path, live.path, part.path)} == {True}
    assert (tmp_path / "link.part").is_symlink()
    for each in (busy, live, part):
        each.drop()


def test_a_part_is_locked_until_it_has_its_name(tmp_path: Path) -> None:
    part = Tree(tmp_path).part()
    with part.path.open() as other, pytest.raises(BlockingIOError):
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    part.keep(tmp_path / "kept")
    with (tmp_path / "kept").open() as other:
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_a_rewrite_is_whole_or_not_done(tmp_path: Path) -> None:
    made = Tree(tmp_path)
    path = tmp_path / "x.1.toml"
    path.write_bytes(b"one")
    assert made.rewrite(path, lambda there: there.st_size == 3, b"other")
    assert path.read_bytes() == b"other"
    assert not made.rewrite(path, lambda there: there.st_size == 3, b"third")
    busy = beside(path, ".part")
    busy.touch()
    assert not made.rewrite(path, lambda there: True, b"third")
    busy.unlink()
    path.unlink()
    assert not made.rewrite(path, lambda there: True, b"third")
    assert list(tmp_path.iterdir()) == []


def test_what_was_left_behind_stops_no_rewrite(tmp_path: Path) -> None:
    path = tmp_path / "x.1.toml"
    path.write_bytes(b"one")
    beside(path, ".part").touch()
    assert Tree(tmp_path).rewrite(path, lambda _: True, b"other")
    assert path.read_bytes() == b"other"
    assert list(tmp_path.iterdir()) == [path]


def descriptors() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


def test_descriptors_are_given_back(tmp_path: Path) -> None:
    check = {True: lambda _: True, False: lambda _: False}
    before = descriptors()
    made = Tree(tmp_path)
    for changes in (True, False):
        part, name = made.claim(STEM, [])
        part.keep(beside(name, TOML))
        made.part().drop()
        made.rewrite(beside(name, TOML), check[changes], b"")
    assert descriptors() == before


def test_a_part_whose_name_is_taken_takes_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = iter(["same", "same", "other"])
    monkeypatch.setattr(secrets, "token_hex", lambda _: next(drawn))
    made = Tree(tmp_path)
    one, two = made.part(), made.part()
    assert [each.path.name for each in (one, two)] == ["recording-same.part", "recording-other.part"]
    one.drop()
    two.drop()


def test_a_new_file_that_another_process_swept_away_is_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between open(2) and flock(2) nobody knows that it is in use."""
    swept: list[Path] = []

    def flock(descriptor: int, how: int) -> None:
        for path in tmp_path.iterdir():
            if not swept:
                path.unlink()
                swept.append(path)

    made = Tree(tmp_path)
    monkeypatch.setattr(fcntl, "flock", flock)
    part = made.part()
    part.write(b"kept")
    assert len(swept) == 1
    assert [each.read_bytes() for each in tmp_path.iterdir()] == [b"kept"]
    part.drop()


def test_what_took_the_name_of_a_left_one_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    left = tmp_path / "left.toml.part"
    left.write_bytes(b"old")

    def flock(descriptor: int, how: int) -> None:
        if left.read_bytes() == b"old":
            (tmp_path / "new").write_bytes(b"new")
            (tmp_path / "new").rename(left)

    monkeypatch.setattr(fcntl, "flock", flock)
    Tree(tmp_path).part().drop()
    assert left.read_bytes() == b"new"
