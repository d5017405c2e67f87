"""`headrace site`, as its user runs it."""

import gzip
import json
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer

from adapters.recorded.exchange import Asked, Exchange, Failure
from adapters.recorded.folder import Folder
from adapters.recorded.tree.site import SITE
from demo_site.offline import RECORDING
from gateway.commands import sites
from gateway.commands.main import main
from tests.adapters.recorded.exchanges import NOON, folder, got, loaded
from tests.gateway.archives.test_har import LAMPS
from tests.gateway.archives.warc.test_reading import wget
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
    (tmp_path / "squeezed").write_bytes(gzip.compress(LAMPS.read_bytes()))
    done = headrace("site", "import", "hall", "lamps.har", "text", "squeezed", "gone", folder=tmp_path)
    assert done.returncode == 1
    assert done.stdout.decode().splitlines() == [
        "lamps.har: 6 taken in",
        "  left out: 1 whose body was not saved",
        "hall: 6 recordings, 6 of them new",
    ]
    errors = done.stderr.decode()
    assert "headrace: text: neither WARC nor HAR" in errors
    assert "headrace: squeezed: gzipped, but no WARC" in errors
    assert "headrace: gone: No such file" in errors
    assert "cookies of http://lamps.example" in errors
    everything = b"".join(contents(tmp_path / "hall").values())
    assert b"trimmed" not in everything
    assert b"North mole" in everything


def har(path: Path, *answers: tuple[int, str]) -> None:
    """Answers of one URL, each at a second of a minute."""
    headers = [{"name": "Content-Type", "value": "text/plain"}, {"name": "Set-Cookie", "value": "a=window"}]
    entries = [
        {
            "startedDateTime": f"2026-05-17T12:00:{second:02}Z",
            "request": {"method": "GET", "url": "http://lamps.example/", "headers": []},
            "response": {"status": 200, "headers": headers, "content": {"text": text}},
        }
        for second, text in answers
    ]
    path.write_text(json.dumps({"log": {"entries": entries}}))


def test_a_file_taken_in_twice_adds_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Though answers that came in a row are one recording, and secrets are not there any more."""
    monkeypatch.chdir(tmp_path)
    Path("headrace.toml").write_text(
        '[source.x]\nurl = "http://lamps.example/"\nauth = { bearer = true, secret = "file:key" }\n'
        '[[source.x.field]]\nname = "N"\nwidth = 3\n'
    )
    Path("key").write_text("4711-window")
    one, two = "the key is 4711-window", "another"
    har(Path("one.har"), (1, one), (2, one), (3, two), (3, one), (9, one))
    assert main(["site", "import", "hall", "one.har"]) == 0
    first = contents(Path("hall"))
    folder = loaded(Path("hall"))
    assert [(each.at.second, each.times) for each in folder.exchanges()] == [(1, 2), (3, 1), (3, 2)]
    assert main(["site", "import", "hall", "one.har", "one.har"]) == 0
    assert contents(Path("hall")) == first
    har(Path("two.har"), (3, two), (30, two))
    assert main(["site", "import", "hall", "two.har"]) == 0
    said = capsys.readouterr().out
    assert said.count("one.har: 0 taken in\n  left out: 5 that are there already") == 2
    assert "two.har: 1 taken in\n  left out: 1 that are there already" in said
    assert "hall: 4 recordings, 1 of them new" in said
    assert b"window" not in b"".join(contents(Path("hall")).values())


def test_what_wget_kept_is_taken_in_once(
    httpserver: HTTPServer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    httpserver.expect_request("/lamps").respond_with_data("3 lamps", content_type="text/plain")
    url = httpserver.url_for("/lamps")
    wget(tmp_path, "w", "--header=Authorization: Basic d2luZG93OjQ3MTE=", url, url)
    for _ in range(2):
        assert main(["site", "import", str(tmp_path / "hall"), str(tmp_path / "w.warc.gz")]) == 0
    said = capsys.readouterr()
    assert "w.warc.gz: 2 taken in" in said.out
    assert "0 taken in\n" in said.out
    assert "left out: 2 that are there already" in said.out
    assert "not over a protocol of the gateway" in said.out  # wget's own log, and what it was called with
    assert f"header Authorization of {url.removesuffix('/lamps')}" in said.err
    (kept,) = loaded(tmp_path / "hall").exchanges()
    assert (kept.times, dict(kept.asked.headers).get("Accept")) == (2, "*/*")
    assert b"d2luZG93" not in b"".join(contents(tmp_path / "hall").values())


def test_an_export_says_what_only_the_gateway_reads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = folder(tmp_path / "hall")
    kept.add(got("http://a.example/"))
    assert main(["site", "export", str(tmp_path / "hall"), str(tmp_path / "all.warc")]) == 0
    assert capsys.readouterr().out == f"{tmp_path / 'all.warc'}: 1 recordings\n"
    kept.add(Exchange(Asked("GET", "http://b.example/"), Failure("TooSlow", "Slow"), NOON))
    assert main(["site", "export", str(tmp_path / "hall"), str(tmp_path / "x.warc")]) == 0
    told = capsys.readouterr().out.splitlines()[1:]
    assert told == ["  only for headrace: 1 (listings, changes and failures have no form in WARC)"]


def test_an_export_without_one_of_its_bodies(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = folder(tmp_path / "hall")
    path = kept.add(got("http://a.example/")).with_suffix(".json")
    path.unlink()
    assert main(["site", "export", str(tmp_path / "hall"), str(tmp_path / "x.warc")]) == 2
    assert path.name in capsys.readouterr().err
    assert not (tmp_path / "x.warc").exists()


def test_what_goes_while_it_is_looked_into(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A list says that a body is gone; an export is not there by half."""
    hall, load = tmp_path / "hall", sites.load
    path = folder(hall).add(got("http://a.example/", b"12345")).with_suffix(".json")

    def tidied(loaded: Folder) -> None:
        load(loaded)
        path.unlink()

    assert main(["site", "list", str(hall)]) == 0
    assert " GET     200         5 http://a.example/" in capsys.readouterr().out
    monkeypatch.setattr(sites, "load", tidied)
    assert main(["site", "list", str(hall)]) == 0
    assert " GET     200      gone http://a.example/" in capsys.readouterr().out
    path.write_bytes(b"12345")
    assert main(["site", "export", str(hall), str(tmp_path / "x.warc")]) == 1
    assert capsys.readouterr().err == f"headrace: {path}: No such file or directory; nothing was written\n"
    assert not (tmp_path / "x.warc").exists()


def test_an_export_to_where_nothing_can_be(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "none" / "x.warc"
    assert main(["site", "export", str(RECORDING), str(file)]) == 1
    assert capsys.readouterr().err == f"headrace: {file}: No such file or directory; nothing was written\n"


def test_an_import_without_its_catalogue_takes_in_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody knows which secrets would have to be hidden."""
    har(tmp_path / "one.har", (1, "a word"))
    words = ["import", str(tmp_path / "hall"), str(tmp_path / "one.har")]
    assert main(["site", "--config", str(tmp_path / "none.toml"), *words]) == 2
    assert "headrace: no catalogue at" in capsys.readouterr().err
    assert not (tmp_path / "hall").exists()


def test_what_cannot_be_taken_in_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file that was damaged, and a folder whose list of what is hidden somebody spoils meanwhile."""
    hall, load = tmp_path / "hall", sites.load
    har(tmp_path / "one.har", (1, "a word"))
    damaged = tmp_path / "damaged.warc.gz"
    damaged.write_bytes(b"\x1f\x8b" + bytes(range(255, 200, -1)))

    def spoiled(loaded: Folder) -> None:
        load(loaded)
        hall.mkdir()
        (hall / SITE).write_text("hidden = [")

    monkeypatch.setattr(sites, "load", spoiled)
    assert main(["site", "import", str(hall), str(tmp_path / "one.har"), str(damaged)]) == 1
    said = capsys.readouterr()
    assert f"one.har: 0 taken in\n  left out: 1 that cannot be kept: {SITE}: " in said.out
    assert f"headrace: {damaged}: not a WARC file that can be read: its gzip is damaged\n" in said.err
    assert [each.name for each in hall.rglob("*") if each.is_file()] == [SITE]


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
