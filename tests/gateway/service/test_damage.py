"""What is damaged is renamed, and what was set aside before stays."""

from pathlib import Path

import pytest

from gateway.service.damage import lying_aside, set_aside


def test_each_gets_a_name_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "counts"
    for number in range(3):
        path.write_text(str(number))
        set_aside(path)
    path.mkdir()
    assert set_aside(path) == tmp_path / "counts.damaged.4"
    found = lying_aside(tmp_path)
    assert [each.name for each in found] == [f"counts.damaged{end}" for end in ("", ".2", ".3", ".4")]
    assert [each.read_text() for each in found[:3]] == ["0", "1", "2"]


def test_what_is_gone_and_what_leads_nowhere(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        set_aside(tmp_path / "counts")
    (tmp_path / "counts").symlink_to("counts")
    (tmp_path / "counts.damaged").symlink_to("nowhere")
    assert set_aside(tmp_path / "counts").readlink() == Path("counts")
    assert len(lying_aside(tmp_path)) == 2
    assert lying_aside(tmp_path / "missing") == []
