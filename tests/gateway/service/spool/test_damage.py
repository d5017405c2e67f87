"""What is damaged is mended or set aside, loudly, and keeps nobody from the others."""

import os
import random
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from gateway.service.spool.folder import ENDED, LAST
from gateway.service.spool.spool import Spool
from tests.gateway.service.spool.jobs import bytes_of, kept, names, sealed


def errors(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [each.getMessage() for each in caplog.records if each.levelname == "ERROR"]


def _directory(path: Path) -> None:
    path.unlink()
    path.mkdir()
    (path / "inside").write_text("of somebody")


def _fifo(path: Path) -> None:
    """Whoever opens it waits for somebody to write (fifo(7))."""
    path.unlink()
    os.mkfifo(path)


def _link(path: Path) -> None:
    """One that leads to itself (ELOOP), as to anything else: jobs are no links."""
    path.unlink()
    path.symlink_to(path.name)


HARM: dict[str, Callable[[Path], object]] = {
    "gone": Path.unlink,
    "empty": lambda path: os.truncate(path, 0),
    "short": lambda path: os.truncate(path, max(0, path.stat().st_size - 2)),
    "long": lambda path: os.truncate(path, path.stat().st_size + 1),
    "zeros": lambda path: path.write_bytes(bytes(path.stat().st_size)),
    "folder": _directory,
    "fifo": _fifo,
    "link": _link,
}


@pytest.mark.parametrize("how", HARM)
async def test_damaged_data_are_set_aside_and_the_others_stay(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, how: str
) -> None:
    spool = Spool(tmp_path / "spool")
    bad, good = kept(spool, b"precious"), kept(spool, b"other", ref="CLUB:other")
    HARM[how](tmp_path / "spool" / f"{bad}.data")
    again = Spool(tmp_path / "spool")
    if how == "zeros":  # it shows when they are read
        held = again.take(bad)
        assert held is not None
        with pytest.raises(Exception, match="damaged"):
            await bytes_of(held)
    assert [each.number for each in again.held()] == [good]
    assert (again.damaged, again.take(bad)) == (1, None)
    assert len(errors(caplog)) == 1
    assert "set aside" in errors(caplog)[0]
    apart = {each for each in names(tmp_path / "spool") if each.endswith(".damaged")}
    there = {"job", "spare", "fault", "why"} | ({"data"} if how != "gone" else set())
    assert apart == {f"{bad}.{part}.damaged" for part in there}
    caplog.clear()
    last = Spool(tmp_path / "spool")
    assert (last.damaged, caplog.records) == (1, [])  # once is enough
    held = last.take(good)
    assert held is not None
    assert await bytes_of(held) == b"other"
    held.delivered()


@pytest.mark.parametrize("open_before", [True, False], ids=["while it runs", "at the start"])
@pytest.mark.parametrize("how", HARM)
async def test_a_damaged_description_is_mended(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, how: str, open_before: bool
) -> None:
    """There is a second one: the bytes alone could not be delivered."""
    spool = Spool(tmp_path / "spool")
    number, other = kept(spool, b"precious", ref="CLUB:a"), kept(spool)
    before = spool.held()
    HARM[how](tmp_path / "spool" / f"{number}.job")
    again = spool if open_before and how != "gone" else Spool(tmp_path / "spool")
    assert again.held() == before
    assert len(errors(caplog)) == 1
    assert "mended" in errors(caplog)[0]
    held = again.take(number)
    assert held is not None
    assert (await bytes_of(held), held.job.ref) == (b"precious", "CLUB:a")
    held.delivered()
    assert [each.number for each in Spool(tmp_path / "spool").held()] == [other]
    assert again.damaged == (how == "folder")  # nobody knows what is in that


async def test_a_description_that_somebody_is_writing_for_ever(
    spool: Spool, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A FIFO with a writer has no end that could be read (pipe(7))."""
    number = kept(spool, b"precious")
    _fifo(tmp_path / "spool" / f"{number}.job")
    writer = os.open(tmp_path / "spool" / f"{number}.job", os.O_RDWR | os.O_NONBLOCK)
    try:
        assert [each.number for each in spool.held()] == [number]
    finally:
        os.close(writer)
    assert len(errors(caplog)) == 1


@pytest.mark.parametrize("how", HARM)
def test_a_damaged_spare_description_costs_nothing(tmp_path: Path, how: str) -> None:
    spool = Spool(tmp_path / "spool")
    number = kept(spool)
    HARM[how](tmp_path / "spool" / f"{number}.spare")
    assert [each.number for each in Spool(tmp_path / "spool").held()] == [number]


@pytest.mark.parametrize("how", HARM)
@pytest.mark.parametrize("spare", ["empty", "folder", "link"])
def test_two_damaged_descriptions_leave_the_bytes(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, how: str, spare: str
) -> None:
    spool = Spool(tmp_path / "spool")
    number = kept(spool, b"precious")
    HARM[how](tmp_path / "spool" / f"{number}.job")
    HARM[spare](tmp_path / "spool" / f"{number}.spare")
    again = Spool(tmp_path / "spool")
    assert (again.held(), again.damaged) == ([], 1)
    assert len(errors(caplog)) == 1
    assert (tmp_path / "spool" / f"{number}.data.damaged").read_bytes() == b"precious"


@pytest.mark.parametrize("how", HARM)
def test_a_damaged_fault_costs_nothing(tmp_path: Path, how: str) -> None:
    spool = Spool(tmp_path / "spool")
    number = kept(spool)
    HARM[how](tmp_path / "spool" / f"{number}.fault")
    (waiting,) = Spool(tmp_path / "spool").held()
    assert waiting.number == number


def test_a_job_without_a_spare_description(spool: Spool, tmp_path: Path) -> None:
    """As where the disk was full: it is a job all the same, and damage ends it."""
    number = kept(spool, b"precious")
    (tmp_path / "spool" / f"{number}.spare").unlink()
    (tmp_path / "spool" / f"{number}.job").write_bytes(b"x")
    assert spool.take(number) is None
    assert (spool.held(), spool.damaged) == ([], 1)


async def test_a_job_that_is_damaged_while_it_is_delivered_is_left_to_that(
    spool: Spool, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    held = sealed(spool, b"precious")
    (tmp_path / "spool" / f"{held.number}.job").write_bytes(b"x")
    other = Spool(tmp_path / "spool")
    assert [(each.number, each.busy) for each in other.held()] == [(held.number, True)]
    assert other.take(held.number) is None
    assert await bytes_of(held) == b"precious"
    held.delivered()
    assert (other.held(), other.damaged, errors(caplog)) == ([], 0, [])
    assert names(tmp_path / "spool") == set()


def _killed_after(steps: int) -> Callable[..., None]:
    real, left = Path.unlink, iter(range(steps))

    def unlink(path: Path, missing_ok: bool = False) -> None:
        if next(left, None) is None:
            raise KeyboardInterrupt
        real(path, missing_ok)

    return unlink


def test_a_spare_description_brings_nothing_back_that_was_removed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed at each step of a removal: what was delivered is a doubtful job still, or gone, and an APPEND is
    never there once more as if nobody had tried.
    """
    for step in range(6):
        folder = tmp_path / str(step)
        held = sealed(Spool(folder), b"line", "append")
        held._folder.write_fault(held.number, ENDED)
        with monkeypatch.context() as patch:
            patch.setattr(Path, "unlink", _killed_after(step))
            with suppress(KeyboardInterrupt):
                held.delivered()
        held.close()
        again = Spool(folder).held()
        assert [each.fault.doubtful for each in again] == ([True] if step < 2 else [])
        assert (names(folder) == set()) == (step >= 2)


def test_numbers_of_damaged_jobs_are_not_given_again(spool: Spool, tmp_path: Path) -> None:
    number = kept(spool)
    (tmp_path / "spool" / f"{number}.data").unlink()
    assert Spool(tmp_path / "spool").damaged == 1
    assert kept(Spool(tmp_path / "spool")) == number + 1


def test_no_job_gets_a_number_under_which_it_is_not_found(tmp_path: Path) -> None:
    """Whatever lies in the folder: one more digit, and a job that was taken would be nobody's."""
    (tmp_path / "spool").mkdir()
    (tmp_path / "spool" / f"{LAST}.job.damaged").write_bytes(b"")
    number = kept(Spool(tmp_path / "spool"))
    assert [each.number for each in Spool(tmp_path / "spool").held()] == [number]


@pytest.mark.parametrize("name", ["007.data", "0.job", "lost+found", "1.data.old", "1.data.damaged.old", "x"])
def test_what_is_not_the_spools_is_let_be(tmp_path: Path, name: str) -> None:
    (tmp_path / "spool" / name).mkdir(parents=True)
    spool = Spool(tmp_path / "spool")
    number = kept(spool)
    again = Spool(tmp_path / "spool")
    assert ([each.number for each in again.held()], again.damaged) == ([number], 0)
    assert (tmp_path / "spool" / name).is_dir()


def test_what_is_no_folder_is_set_aside(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / "spool").write_text("precious")
    number = kept(Spool(tmp_path / "spool"))
    assert len(errors(caplog)) == 1
    assert (tmp_path / "spool.damaged").read_text() == "precious"
    assert [each.number for each in Spool(tmp_path / "spool").held()] == [number]


def test_a_folder_without_rights_gets_them_back(tmp_path: Path) -> None:
    kept(Spool(tmp_path / "spool"))
    (tmp_path / "spool").chmod(0o000)
    assert len(Spool(tmp_path / "spool").held()) == 1
    assert (tmp_path / "spool").stat().st_mode & 0o777 == 0o700


def _random_harm(chance: random.Random, path: Path) -> None:
    if not path.is_file() or path.is_symlink():
        return
    data = bytearray(path.read_bytes())
    how = chance.randrange(6)
    if how == 0 and data:
        for _ in range(chance.choice((1, 1, 20))):
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path.write_bytes(data)
    elif how == 1:
        os.truncate(path, chance.randint(0, len(data)))
    elif how == 2:
        path.write_bytes(data + chance.randbytes(chance.randint(1, 5000)))
    elif how == 3:
        path.rename(path.with_name(chance.choice(("strange", "0.data", "99.job", "98.data", "97.spare"))))
    else:
        HARM[chance.choice(sorted(HARM))](path)


@pytest.mark.parametrize("seed", range(20))
async def test_whatever_happens_to_the_files(
    tmp_path: Path, seed: int, caplog: pytest.LogCaptureFixture
) -> None:
    """Each job is there with its bytes, or not without a word; those that nothing happened to are there."""
    chance = random.Random(seed)
    folder = tmp_path / "spool"
    spool = Spool(folder)
    bodies = {kept(spool, chance.randbytes(size), ref=f"CLUB:{size}"): size for size in (0, 1, 300, 9_000)}
    expected = {number: (folder / f"{number}.data").read_bytes() for number in bodies}
    harmed = chance.sample(sorted(names(folder)), chance.randint(1, 5))
    for name in harmed:
        _random_harm(chance, folder / name)
    untouched = {number for number in bodies if not any(each.startswith(f"{number}.") for each in harmed)}
    again = Spool(folder)
    for waiting in again.held():
        held = again.take(waiting.number)
        assert held is not None, seed
        try:
            body = await bytes_of(held)
        except Exception as error:  # noqa: BLE001 only one kind is right
            assert "damaged" in str(error), seed
            continue
        assert body == expected[waiting.number], seed
        assert held.job.ref == f"CLUB:{bodies[waiting.number]}", seed
        held.close()
    there = {each.number for each in again.held()}
    assert untouched <= there, seed
    missing = len(bodies.keys() - there)
    assert caplog.text.count("set aside") + caplog.text.count("removed") >= missing, seed
    assert kept(again) not in bodies, seed
