"""Jobs outlive the gateway, whatever ends it; each is delivered by one at a time."""

import asyncio
import errno
import os
import random
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from adapters.errors import HeadraceError
from adapters.files import Kind, Stat, Was
from adapters.port import Validators
from gateway.service.spool.folder import Found, SpoolFolder
from gateway.service.spool.spool import JobKind, Spool
from tests.gateway.service.spool.jobs import PARTS, bytes_of, kept, names, sealed

ROOT = Path(__file__).parents[4]
WHEN = datetime(2026, 11, 26, 12, 0, tzinfo=UTC)


async def test_the_next_gateway_finds_what_this_one_kept(tmp_path: Path) -> None:
    stat = Stat(
        Kind.FILE, 5, WHEN, Validators('"an etag"', None), "text/plain", "utf-8", "ftp://a.example:21"
    )
    spool = Spool(tmp_path / "spool", lambda: WHEN)
    draft = spool.begin("append", "CLUB:log", stat)
    draft.write(b"line\n")
    draft.seal().failed("Cannot connect to the far server")
    spool.close()
    (waiting,) = Spool(tmp_path / "spool").held()
    assert waiting.record.job.condition == stat
    assert waiting.record.job.created == WHEN
    assert waiting.fault.sentence == "Cannot connect to the far server"
    held = Spool(tmp_path / "spool").take(waiting.number)
    assert held is not None
    assert (held.job.kind, held.job.ref, held.size) == (JobKind.APPEND, "CLUB:log", 5)
    assert await bytes_of(held) == b"line\n"
    held.close()


def test_a_copy_leaves_word_of_itself(spool: Spool, tmp_path: Path) -> None:
    held = spool.begin("copy", "CLUB:b", source="TOWN:a").seal()
    assert spool.held()[0].busy
    held.close()  # as a killed gateway lets go
    (waiting,) = Spool(tmp_path / "spool").held()
    job = waiting.record.job
    assert (job.kind, job.source, job.ref) == (JobKind.COPY, "TOWN:a", "CLUB:b")
    assert job.condition is Was.ANYTHING
    assert waiting.fault.doubtful


def test_closing_drops_drafts_and_keeps_jobs(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool")
    number = kept(spool)
    spool.begin("store", "CLUB:b").write(b"half of")
    spool.close()
    spool.close()
    assert names(tmp_path / "spool") == {f"{number}.{part}" for part in PARTS}


def test_a_kind_that_there_is_not(spool: Spool, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="erase"):
        spool.begin("erase", "CLUB:a")
    assert names(tmp_path / "spool") == set()


def test_a_folder_that_cannot_be_had(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("a file where the folder should be")
    with pytest.raises(HeadraceError, match="spool cannot be used"):
        Spool(tmp_path / "state" / "spool")


def test_a_disk_that_fails_later(spool: Spool, monkeypatch: pytest.MonkeyPatch) -> None:
    number = kept(spool)

    def failing(*_: object, **__: object) -> int:
        raise OSError(5, "the disk fails", "/srv/state")

    for name, doing in (
        ("lock", spool.held),
        ("look", spool.recover),
        ("look", lambda: spool.damaged),
        ("lock", lambda: spool.take(number)),
        ("create", lambda: spool.begin("store", "CLUB:b")),
    ):
        monkeypatch.setattr(SpoolFolder, name, failing)
        with pytest.raises(HeadraceError) as caught:
            doing()
        assert caught.value.sentence == "The gateway's spool cannot be used"
        monkeypatch.undo()


# Leftovers


def test_drafts_left_behind_are_removed_with_a_word(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    folder = tmp_path / "spool"
    folder.mkdir()
    (folder / "3.data").write_bytes(b"half of")
    (folder / "4.data").write_bytes(b"whole, but never sealed")
    (folder / "4.new").write_bytes(b"half a description")
    (folder / "5.fault").write_bytes(b"{}")
    (folder / "notes.txt").write_text("of somebody else")
    assert Spool(folder).held() == []
    assert names(folder) == {"notes.txt"}
    assert [each.getMessage() for each in caplog.records] == ["a transfer that never ended was removed"] * 2


def test_drafts_that_another_process_works_on_stay(spool: Spool, tmp_path: Path) -> None:
    draft = spool.begin("store", "CLUB:a")
    draft.write(b"half of")
    Spool(tmp_path / "spool").close()
    draft.write(b" it")
    draft.seal().close()
    assert [each.record.size for each in spool.held()] == [10]


def test_a_draft_that_became_a_job_just_now_is_no_leftover(
    spool: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = kept(spool)
    with monkeypatch.context() as patch:
        patch.setattr(SpoolFolder, "look", lambda _: Found({number: {"data"}}, set()))  # as it was before
        spool.recover()
    assert [each.number for each in spool.held()] == [number]


@pytest.mark.parametrize("seen", [{"new"}, {"fault"}, {"new", "fault"}])
def test_a_job_of_which_a_look_missed_the_half_stays(
    spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seen: set[str]
) -> None:
    """readdir(3) may miss what is made while it reads."""
    number = kept(spool, b"mine")
    draft = spool.begin("store", "CLUB:b")
    found = {number: seen, draft._number: seen}
    monkeypatch.setattr(SpoolFolder, "look", lambda _: Found(found, set()))
    spool.recover()
    monkeypatch.undo()
    assert [each.number for each in spool.held()] == [number]
    draft.seal().close()
    assert len(spool.held()) == 2


def test_of_two_equal_appends_that_a_killed_gateway_left_one_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spool = Spool(tmp_path / "spool")
    with monkeypatch.context() as patch:
        patch.setattr("gateway.service.spool.held.Held.remove_older", lambda *_: None)
        numbers = [kept(spool, b"line\n", "append") for _ in range(2)]
        others = [kept(spool, b"line\n", "store") for _ in range(2)]
        others += [kept(spool, b"line\n", "append", f"CLUB:{name}") for name in "ab"]
    assert [each.number for each in spool.held()] == [*numbers, *others]
    assert [each.number for each in Spool(tmp_path / "spool").held()] == [numbers[1], *others]


# Other processes

WRITER = """
import random, sys
from pathlib import Path
from adapters import limits
from gateway.service.spool.spool import Spool

limits.SPOOL_RESERVE_BYTES = 0
spool, chance = Spool(Path(sys.argv[1])), random.Random(int(sys.argv[2]))
print("ready", flush=True)
while True:
    byte = chance.randrange(256)
    size = chance.choice((0, 1, 1000, 70_000))
    kind = chance.choice(("store", "append"))
    draft = spool.begin(kind, f"CLUB:{chance.random()}")
    for start in range(0, size, 10_000):
        draft.write(bytes([byte]) * min(10_000, size - start))
    if chance.random() < 0.2:
        draft.drop()
        continue
    held = draft.seal()
    print(held.number, byte, size, kind, flush=True)
    if chance.random() < 0.3:
        print(held.number, "ends", flush=True)
        held.delivered()
    else:
        held.failed("The far server is failing")
"""


def _killed(folder: Path, seed: int) -> list[list[str]]:
    """What a writer said, in whole lines, before it was killed."""
    command = [sys.executable, "-c", WRITER, str(folder), str(seed)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        time.sleep(random.Random(seed).uniform(0.01, 0.15))
        process.send_signal(signal.SIGKILL)
        said = process.stdout.read().splitlines(keepends=True)
    return [line.split() for line in said if line.endswith("\n")]


@pytest.mark.parametrize("seed", range(8))
async def test_a_gateway_killed_at_any_moment_loses_nothing(tmp_path: Path, seed: int) -> None:
    """SIGKILL (signal(7)) in the middle of writing, sealing, delivering: what was sealed is there, whole, and
    nothing else is.
    """
    said = await asyncio.to_thread(_killed, tmp_path / "spool", seed)
    promised = {int(words[0]): words[1:] for words in said if words[1] != "ends"}
    ends = {int(words[0]) for words in said if words[1] == "ends"}
    spool = Spool(tmp_path / "spool")
    there = {each.number: each for each in spool.held()}
    assert spool.damaged == 0
    assert promised.keys() - ends <= there.keys()
    unannounced = there.keys() - promised.keys()
    assert len(unannounced) <= 1  # sealed, and killed before it could say so
    for number in there:
        held = spool.take(number)
        assert held is not None
        body = await bytes_of(held)
        if number in promised:
            byte, size, kind = promised[number]
            assert (body, held.job.kind.value) == (bytes([int(byte)]) * int(size), kind)
        held.delivered()
    assert names(tmp_path / "spool") == set()


TAKER = """
import sys
from pathlib import Path
from gateway.service.spool.spool import Spool

spool = Spool(Path(sys.argv[1]))
print("ready", flush=True)
sys.stdin.readline()
for number in range(1, int(sys.argv[2]) + 1):
    held = spool.take(number)
    if held is not None:
        print(number, flush=True)
        held.delivered()
"""


def test_two_processes_never_deliver_the_same_job(spool: Spool, tmp_path: Path) -> None:
    count = 60
    for number in range(count):
        kept(spool, ref=f"CLUB:{number}")
    command = [sys.executable, "-c", TAKER, str(tmp_path / "spool"), str(count)]
    takers = [
        subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    for each in takers:
        assert each.stdout is not None
        assert each.stdout.readline() == "ready\n"
    taken: list[int] = []
    for each in takers:
        assert each.stdin is not None
        each.stdin.write("go\n")
        each.stdin.flush()
    for each in takers:
        said, _ = each.communicate(timeout=20)
        taken.extend(map(int, said.split()))
    assert sorted(taken) == list(range(1, count + 1))


def test_a_job_that_is_held_is_not_taken(spool: Spool, tmp_path: Path) -> None:
    held = sealed(spool)
    other = Spool(tmp_path / "spool")
    assert other.take(held.number) is None
    assert other.held()[0].busy
    held.failed("The far server is failing")
    again = other.take(held.number)
    assert again is not None
    assert spool.take(held.number) is None
    again.delivered()
    assert spool.take(held.number) is None
    assert spool.held() == []


def test_looking_at_jobs_does_not_keep_others_from_taking_them(
    spool: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`held` has each job locked for a moment."""
    number = kept(spool)
    looking = spool._folder.lock(number)
    assert looking is not None

    def look_ends(_: float) -> None:
        os.close(looking)
        monkeypatch.undo()

    monkeypatch.setattr(time, "sleep", look_ends)
    held = spool.take(number)
    assert held is not None
    held.close()


def test_a_description_that_was_lost_comes_back_from_its_spare(spool: Spool, tmp_path: Path) -> None:
    number = kept(spool)
    (tmp_path / "spool" / f"{number}.job").unlink()
    spool.recover()
    assert [each.number for each in spool.held()] == [number]


def test_a_spare_description_alone_is_set_aside(spool: Spool, tmp_path: Path) -> None:
    number = kept(spool)
    for part in ("job", "data"):
        (tmp_path / "spool" / f"{number}.{part}").unlink()
    spool.recover()
    assert spool.held() == []
    assert spool.damaged == 1


@pytest.mark.parametrize("kind", ["folder", "link"])
def test_data_that_are_nobodys_and_no_file_are_set_aside(spool: Spool, tmp_path: Path, kind: str) -> None:
    """They must not keep the next gateway from its spool."""
    path = tmp_path / "spool" / "7.data"
    if kind == "folder":
        path.mkdir()
    else:
        path.symlink_to(tmp_path)
    spool.recover()
    assert spool.held() == []
    assert spool.damaged == 1


def test_a_job_that_cannot_be_read_now_stays_and_is_nobodys(
    spool: Spool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """read(2), EIO: it may pass; nothing stays locked meanwhile."""

    def fails(*_: object) -> None:
        raise OSError(errno.EIO, "made to fail")

    number = kept(spool)
    with monkeypatch.context() as patch:
        patch.setattr(SpoolFolder, "read_job", fails)
        with pytest.raises(HeadraceError):
            spool.take(number)
    held = spool.take(number)
    assert held is not None
    held.close()


def test_an_equal_append_that_somebody_works_on_stays(
    spool: Spool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept(spool, b"line", "append")
    with monkeypatch.context() as patch:
        patch.setattr(SpoolFolder, "remove", lambda *_: None)  # killed before it could
        kept(spool, b"line", "append")
    older = min(each.number for each in spool.held())
    monkeypatch.setattr(Spool, "take", lambda _, number: None)
    Spool(tmp_path / "spool").recover()
    monkeypatch.undo()
    assert older in {each.number for each in spool.held()}
