"""What was set aside is told of as far as it can be read, and nothing is changed by that."""

from pathlib import Path

from gateway.service.spool import aside
from gateway.service.spool.aside import Aside
from gateway.service.spool.spool import Spool
from tests.gateway.service.spool.jobs import kept, names


def test_what_can_be_told(spool: Spool, tmp_path: Path) -> None:
    folder = tmp_path / "spool"
    assert aside.lying_aside(folder) == []
    bad, worse, good = (kept(spool, b"precious", ref=f"CLUB:{name}") for name in "abc")
    (folder / f"{bad}.data").write_bytes(b"preci")
    for part in ("job", "spare"):
        (folder / f"{worse}.{part}").write_bytes(b"x")
    job = spool.held()[0].record.job
    before = names(folder)
    one, other = aside.lying_aside(folder)
    assert (one.number, one.size, one.why) == (bad, 5, "its data are 5 bytes instead of 8")
    assert one.job is not None
    assert (one.job.ref, job.ref) == ("CLUB:a", "CLUB:c")
    assert other == Aside(worse, None, 8, "its description does not match its digest")
    assert names(folder) == before
    assert [each.number for each in spool.held()] == [good]


def test_removing(spool: Spool, tmp_path: Path) -> None:
    folder = tmp_path / "spool"
    number = kept(spool)
    assert not aside.remove(folder, number)
    (folder / f"{number}.data").unlink()
    assert (spool.held(), aside.remove(folder, number)) == ([], True)
    assert names(folder) == set()


def test_anything_may_lie_there(tmp_path: Path) -> None:
    """Folders, and further ones of a name: whatever was found under it."""
    for name in ("1.job.damaged", "1.data.damaged", "1.why.damaged"):
        (tmp_path / name).mkdir()
    (tmp_path / "1.data.damaged.2").write_bytes(b"12345")
    assert aside.lying_aside(tmp_path) == [Aside(1, None, 5, "nobody knows why")]
    assert aside.remove(tmp_path, 1)
    assert names(tmp_path) == {"1.job.damaged", "1.data.damaged", "1.why.damaged"}
