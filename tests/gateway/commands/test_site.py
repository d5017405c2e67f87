"""`headrace site`, as its user runs it."""

from pathlib import Path

import pytest

from demo_site.offline import RECORDING
from gateway.commands.main import main
from tests.adapters.recorded.exchanges import folder, got
from tests.gateway.archives.test_har import LAMPS
from tests.gateway.commands.processes import headrace


def contents(path: Path) -> dict[str, bytes]:
    return {str(each.relative_to(path)): each.read_bytes() for each in path.rglob("*") if each.is_file()}


@pytest.mark.parametrize("name", ["x.warc", "x.warc.gz"])
def test_out_and_in_again(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, back = str(tmp_path / name), str(tmp_path / "back")
    assert main(["site", "export", str(RECORDING), file]) == 0
    assert main(["site", "import", back, file]) == 0
    assert contents(Path(back)) == contents(RECORDING)
    assert main(["site", "import", back, file]) == 0
    assert main(["site", "export", str(RECORDING), file]) == 1
    said = capsys.readouterr()
    assert "80 recordings, 80 of them new" in said.out
    assert "0 taken in" in said.out
    assert "left out: 80 that are there already" in said.out
    assert "80 recordings, 0 of them new" in said.out
    assert "name a new file" in said.err


def test_a_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["site", "list", str(RECORDING)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 80
    assert all(line.startswith("2024-05-17T05:30:00Z ") for line in lines)
    assert any(" GET     503 " in line and "http://gullmarrow.example/harbour/busy" in line for line in lines)
    kept = folder(tmp_path)
    kept.add(got("http://a.example/new", b"12345"))
    kept.add(got("http://a.example/old", seconds=-86_400))
    for age, count in (("0s", 2), ("12h", 1), ("2d", 0)):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                "gateway.commands.site.CLOCK", type("Clock", (), {"now": lambda: got("http://x.example/").at})
            )
            assert main(["site", "list", "--older", age, str(tmp_path)]) == 0
        assert len(capsys.readouterr().out.splitlines()) == (count if age != "0s" else 1)


def test_a_browsers_file_with_the_catalogues_secrets_hidden(tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_text(
        '[source.x]\nurl = "http://lamps.example/"\nauth = { bearer = true, secret = "file:key" }\n'
        '[[source.x.field]]\nname = "N"\nwidth = 3\n'
    )
    (tmp_path / "key").write_text("trimmed")
    (tmp_path / "lamps.har").write_bytes(LAMPS.read_bytes())
    (tmp_path / "text").write_text("no archive")
    done = headrace("site", "import", "hall", "lamps.har", "text", "gone", folder=tmp_path)
    assert done.returncode == 1
    assert done.stdout.decode().splitlines() == [
        "lamps.har: 6 taken in",
        "  left out: 1 whose body was not saved",
        "hall: 6 recordings, 6 of them new",
    ]
    errors = done.stderr.decode()
    assert "headrace: text: neither WARC nor HAR" in errors
    assert "headrace: gone: No such file" in errors
    assert "cookies of http://lamps.example" in errors
    everything = b"".join(contents(tmp_path / "hall").values())
    assert b"trimmed" not in everything
    assert b"North mole" in everything


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["list", "nowhere"], "no recordings at nowhere"),
        (["list", "--older", "long", "x"], "'long' is no age"),
        (["import", "x"], "required: FILE"),
        ([], "required: ACTION"),
        (["import", "--config", "none", "x", "y"], "unrecognized"),
    ],
)
def test_wrong_usage(words: list[str], why: str, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        code = main(["site", *words])
    except SystemExit as ended:
        code = int(ended.code or 0)
    assert (code, why in capsys.readouterr().err) == (2, True)
