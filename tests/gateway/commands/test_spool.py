"""`headrace spool`: what waits is shown, delivered or dropped, and the code tells a shell how that went."""

import argparse
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from adapters import limits
from adapters.files import Condition, Was
from adapters.local.documents import stat_of
from gateway.commands import spool as command
from gateway.commands.main import main
from gateway.service.spool.folder import SpoolFolder
from gateway.service.spool.spool import Spool
from tests.gateway.commands.processes import headrace

CATALOGUE = """
[place.club]
base = "file://{folder}/club/"
write = true
[place.shelf]
base = "file://{folder}/shelf/"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(limits, "SPOOL_RESERVE_BYTES", 0)
    for name in ("club", "shelf"):
        (tmp_path / name).mkdir()
    (tmp_path / "headrace.toml").write_text(CATALOGUE.format(folder=tmp_path))
    return tmp_path


@pytest.fixture
def spool(folder: Path) -> Iterator[Spool]:
    made = Spool(folder / "headrace-state" / "spool", lambda: datetime.now(UTC) - timedelta(hours=3))
    yield made
    made.close()


def keep(
    spool: Spool,
    ref: str,
    body: bytes = b"new\n",
    kind: str = "store",
    condition: Condition = Was.ANYTHING,
    fault: str = "The far server is failing",
    doubtful: bool = False,
) -> int:
    draft = spool.begin(kind, ref, condition)
    draft.write(body)
    held = draft.seal()
    held.failed(fault, doubtful)
    return held.number


@pytest.mark.parametrize("arguments", [(), ("list",)])
def test_nothing_waits(folder: Path, arguments: tuple[str, ...]) -> None:
    done = headrace("spool", *arguments, folder=folder)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"Nothing waits.\n", b"")
    assert not (folder / "headrace-state").exists()


def test_the_list(folder: Path, spool: Spool) -> None:
    keep(spool, "CLUB:scores.txt", bytes(12_345))
    keep(spool, "CLUB:log", b"x", "append", doubtful=True)
    copy = spool.begin("copy", "CLUB:b", source="SHELF:a").seal()
    done = headrace("spool", folder=folder)
    assert done.returncode == 0
    assert done.stdout.decode().splitlines() == [
        "NUMBER  KIND      SIZE  AGE  REF              LAST FAULT",
        "     1  store   12,345  3 h  CLUB:scores.txt  The far server is failing",
        "     2  append       1  3 h  CLUB:log         The far server is failing (may have been done)",
        "     3  copy         0  3 h  SHELF:a CLUB:b   being delivered",
    ]
    copy.drop()


def test_control_characters_do_not_reach_the_terminal(folder: Path, spool: Spool) -> None:
    keep(spool, "CLUB:\x1b[2J\n\u202e", fault="\x1b]0;")
    done = headrace("spool", folder=folder)
    assert done.stdout.count(b"\n") == 2
    assert b"\x1b" not in done.stdout
    assert b"CLUB:?[2J??" in done.stdout


def test_damaged_ones_are_told_of(folder: Path, spool: Spool) -> None:
    number = keep(spool, "CLUB:a")
    (folder / "headrace-state" / "spool" / f"{number}.data").unlink()
    done = headrace("spool", folder=folder)
    assert b"damaged and was set aside" in done.stderr
    for name in (f"{number + 1}.job.damaged", f"{number + 1}.data.damaged"):  # nothing of it can be read
        (folder / "headrace-state" / "spool" / name).write_bytes(b"\x1b[2J")
    again = headrace("spool", folder=folder)
    assert (again.returncode, again.stderr) == (0, b"")
    assert again.stdout.decode().splitlines() == [
        "Nothing waits.",
        "",
        "Damaged, and set aside in headrace-state/spool:",
        "NUMBER  KIND   SIZE  AGE  REF     WHAT IS WRONG",
        "     1  store     -  3 h  CLUB:a  its data are gone",
        "     2  -         4    -  -       nobody knows why",
    ]


def test_damaged_ones_are_dropped_by_their_numbers(folder: Path, spool: Spool) -> None:
    number, other = keep(spool, "CLUB:a"), keep(spool, "CLUB:b")
    (folder / "headrace-state" / "spool" / f"{number}.data").write_bytes(b"x")
    headrace("spool", folder=folder)
    done = headrace("spool", "drop", str(number), "7", folder=folder)
    assert (done.returncode, done.stdout) == (1, b"1: what was set aside is removed\n")
    assert done.stderr == b"7: not waiting, or being delivered\n"
    assert [each.number for each in spool.held()] == [other]
    assert spool.damaged == 0


def test_retry_delivers_all(folder: Path, spool: Spool) -> None:
    (folder / "club" / "log").write_bytes(b"old\n")
    seen = stat_of((folder / "club" / "log").stat(), b"log")
    keep(spool, "CLUB:a%20b")
    keep(spool, "CLUB:log", kind="append", condition=seen)
    done = headrace("spool", "retry", folder=folder)
    assert done.stdout.decode().splitlines() == ["1: delivered, 4 bytes", "2: delivered, 4 bytes"]
    assert (done.returncode, done.stderr) == (0, b"")
    assert (folder / "club" / "a b").read_bytes() == b"new\n"
    assert (folder / "club" / "log").read_bytes() == b"old\nnew\n"
    assert headrace("spool", folder=folder).stdout == b"Nothing waits.\n"


def test_what_cannot_be_delivered_stays_with_its_reason(folder: Path, spool: Spool) -> None:
    keep(spool, "CLUB:missing/a")
    keep(spool, "SHELF:a")
    keep(spool, "NOWHERE:a")
    keep(spool, "CLUB:a", condition=Was.NOTHING)
    (folder / "club" / "a").write_bytes(b"somebody else's")
    keep(spool, "CLUB:b")
    done = headrace("spool", "retry", folder=folder)
    assert done.returncode == 1
    lines = done.stdout.decode().splitlines()
    assert [line.split()[:2] for line in lines[:4]] == [
        ["1:", "550"],
        ["2:", "532"],
        ["3:", lines[2].split()[1]],
        ["4:", "555"],
    ]
    assert lines[2].split()[1] in {"501", "532", "550"}
    assert lines[4] == "5: delivered, 4 bytes"
    assert (folder / "club" / "a").read_bytes() == b"somebody else's"
    assert list((folder / "shelf").iterdir()) == []
    said = headrace("spool", folder=folder).stdout.decode().splitlines()
    assert [line.split()[0] for line in said] == ["NUMBER", "1", "2", "3", "4"]
    assert "failing" not in "".join(said)


def test_what_may_have_been_done_is_retried_only_by_its_number(folder: Path, spool: Spool) -> None:
    number = keep(spool, "CLUB:log", kind="append", doubtful=True)
    done = headrace("spool", "retry", folder=folder)
    assert (done.returncode, list((folder / "club").iterdir())) == (1, [])
    assert done.stdout.startswith(b"1: left: may have been done")
    done = headrace("spool", "retry", str(number), folder=folder)
    assert (done.returncode, done.stdout) == (0, b"1: delivered, 4 bytes\n")


def test_a_copy_that_a_killed_gateway_left_is_repeated_by_its_number(folder: Path, spool: Spool) -> None:
    (folder / "shelf" / "a").write_bytes(b"to be copied")
    spool.begin("copy", "CLUB:b", source="SHELF:a").seal().close()
    assert headrace("spool", "retry", folder=folder).returncode == 1
    assert headrace("spool", "retry", "1", folder=folder).returncode == 0
    assert (folder / "club" / "b").read_bytes() == b"to be copied"
    assert headrace("spool", folder=folder).stdout == b"Nothing waits.\n"


def test_of_several_stores_the_newest_is_delivered_and_the_others_are_over(
    folder: Path, spool: Spool
) -> None:
    """Each found the document as it was before all of them; one after another only the first would fit."""
    keep(spool, "CLUB:a", b"first", condition=Was.NOTHING)
    keep(spool, "CLUB:a", b"added", "append", condition=Was.NOTHING)
    keep(spool, "CLUB:b", b"other", condition=Was.NOTHING)
    keep(spool, "CLUB:a", b"newest", condition=Was.NOTHING)
    done = headrace("spool", "retry", folder=folder)
    assert done.stdout.decode().splitlines() == ["3: delivered, 5 bytes", "4: delivered, 6 bytes"]
    assert done.returncode == 0
    assert (folder / "club" / "a").read_bytes() == b"newest"
    assert spool.held() == []


def test_older_ones_are_not_delivered_before_a_newer_one_that_fails(folder: Path, spool: Spool) -> None:
    keep(spool, "CLUB:a", b"first")
    keep(spool, "CLUB:a", b"newest", condition=stat_of((folder / "headrace.toml").stat(), b""))
    done = headrace("spool", "retry", folder=folder)
    assert done.stdout.decode().splitlines()[0].startswith("2: 555 ")
    assert done.stdout.decode().splitlines()[1] == "1: left: 2 is newer"
    assert done.returncode == 1
    assert list((folder / "club").iterdir()) == []


def test_only_the_numbers_wanted(folder: Path, spool: Spool) -> None:
    for name in "abc":
        keep(spool, f"CLUB:{name}")
    done = headrace("spool", "retry", "3", "1", "3", folder=folder)
    assert done.stdout.decode().splitlines() == ["3: delivered, 4 bytes", "1: delivered, 4 bytes"]
    assert {each.name for each in (folder / "club").iterdir()} == {"a", "c"}


@pytest.mark.parametrize(("ago", "age"), [(-60, "0 s"), (90, "1 min"), (3 * 3600, "3 h"), (50 * 3600, "2 d")])
def test_how_long_it_has_waited(
    folder: Path, ago: int, age: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What comes from the future came now: this machine's clock was set back."""
    monkeypatch.setattr(command, "configure", lambda *_: None)
    made = Spool(folder / "headrace-state" / "spool", lambda: datetime.now(UTC) - timedelta(seconds=ago))
    keep(made, "CLUB:a")
    made.close()
    assert main(["spool", "--config", str(folder / "headrace.toml")]) == 0
    assert re.search(rf"     4 +{age}  CLUB:a ", capsys.readouterr().out)


def test_all_but_what_is_under_way_is_delivered(
    folder: Path, spool: Spool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "configure", lambda *_: None)
    keep(spool, "CLUB:a")
    keep(spool, "CLUB:b")
    held = spool.take(1)
    assert held is not None
    assert main(["spool", "--config", str(folder / "headrace.toml"), "retry"]) == 1
    said = capsys.readouterr()
    assert said.out.splitlines() == ["2: delivered, 4 bytes", "1: left: being delivered"]
    assert said.err == ""
    assert [each.name for each in (folder / "club").iterdir()] == ["b"]
    held.close()


def test_dropping(folder: Path, spool: Spool) -> None:
    for name in "ab":
        keep(spool, f"CLUB:{name}")
    done = headrace("spool", "drop", "1", folder=folder)
    assert (done.returncode, done.stdout) == (0, b"1: dropped\n")
    assert [each.number for each in spool.held()] == [2]
    assert list((folder / "club").iterdir()) == []


@pytest.mark.parametrize("act", ["retry", "drop"])
def test_what_a_running_gateway_delivers_is_left_to_it(folder: Path, spool: Spool, act: str) -> None:
    keep(spool, "CLUB:a")
    held = spool.take(1)
    assert held is not None
    done = headrace("spool", act, "1", "7", folder=folder)
    assert (done.returncode, done.stdout) == (1, b"")
    assert done.stderr.decode().splitlines() == [
        "1: not waiting, or being delivered",
        "7: not waiting, or being delivered",
    ]
    held.close()
    assert [each.number for each in spool.held()] == [1]


@pytest.mark.parametrize(
    "arguments", [("drop",), ("drop", "x"), ("retry", "1.5"), ("list", "1"), ("forget",), ("--confg", "x")]
)
def test_wrong_usage_is_2(folder: Path, arguments: tuple[str, ...]) -> None:
    done = headrace("spool", *arguments, folder=folder)
    assert (done.returncode, done.stdout) == (2, b"")


@pytest.mark.parametrize(
    "arguments",
    [("--config", "else.toml"), ("list", "--config", "else.toml"), ("retry", "--config", "else.toml")],
)
def test_no_catalogue_is_2(folder: Path, arguments: tuple[str, ...]) -> None:
    done = headrace("spool", *arguments, folder=folder)
    assert done.returncode == 2
    assert b"no catalogue at else.toml" in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("--config", "other.toml", "drop", "1"),
        ("drop", "1", "--config", "other.toml"),
        ("drop", "--config", "other.toml", "1"),
    ],
)
def test_the_catalogue_is_named_anywhere(folder: Path, spool: Spool, arguments: tuple[str, ...]) -> None:
    keep(spool, "CLUB:a")
    (folder / "headrace.toml").rename(folder / "other.toml")
    done = headrace("spool", *arguments, folder=folder)
    assert (done.returncode, done.stdout) == (0, b"1: dropped\n")


def test_a_spool_that_cannot_be_used_is_1(
    folder: Path, spool: Spool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def failing(*_: object) -> None:
        raise OSError(5, "the disk fails")

    monkeypatch.setattr(SpoolFolder, "look", failing)
    monkeypatch.setattr(command, "configure", lambda *_: None)
    options = argparse.Namespace(config=str(folder / "headrace.toml"), log="error", act="list", number=[])
    assert command.run(options) == 1
    assert capsys.readouterr() == ("", "headrace: The gateway's spool cannot be used\n")


@pytest.mark.parametrize("act", [("list",), ("retry",), ("drop", "1")])
def test_every_action_takes_a_level_for_the_log(folder: Path, act: tuple[str, ...]) -> None:
    before = headrace("spool", "--log", "debug", *act, folder=folder)
    after = headrace("spool", *act, "--log", "debug", folder=folder)
    assert after.returncode == before.returncode != 2
    assert b"usage" not in after.stderr
    assert headrace("spool", *act, "--log", "loud", folder=folder).returncode == 2


def test_help_says_what_can_be_done_and_what_is_left_alone(folder: Path) -> None:
    whole = headrace("spool", "--help", folder=folder).stdout.decode()
    assert "ACTION ..." in whole
    assert "... ..." not in whole
    said = " ".join(headrace("spool", "retry", "--help", folder=folder).stdout.decode().split())
    for words in ("Without numbers", "may have been done", "killed", "newer STORE", "Naming a number"):
        assert words in said
