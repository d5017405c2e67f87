"""`headrace listing`: the program on standard output, and words that lead on where it cannot be written."""

from pathlib import Path

import pytest

from gateway.commands.main import main
from gateway.listings.writers import WRITERS
from tests.gateway.commands.processes import headrace

CATALOGUE = """
[profile.narrow]
cols = 32
most = 80
eol = "cr"
[profile.ends]
eol = "lf"
[profile.shifted]
charset = "file:shifted.txt"
[source.tides]
about = "High and low water"
url = "https://tides.example/{station}"
args = ["station"]
choices = { station = { mole = "north-mole", bar = "sandbar" } }
rows = "$[*]"
[[source.tides.field]]
name = "TIME"
at = "$.when"
kind = "time"
width = 5
[source.wide]
url = "https://tides.example/wide"
[[source.wide.field]]
name = "ALL"
width = 120
[source.score]
url = "https://tides.example/scores"
method = "POST"
args = ["name", "points:int"]
body = { name = "{name}", points = "{points}" }
[[source.score.field]]
name = "RANK"
width = 3
[source.sign]
url = "https://tides.example/book"
method = "POST"
body = "lines"
[[source.sign.field]]
name = "N"
width = 3
"""

SHIFTED = "".join(f"0x{code ^ 0x80:02X}\t0x{code:04X}\n" for code in range(0x20, 0x7F))
"""A mapping file that has ASCII's characters in the upper half."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "headrace.toml").write_text(CATALOGUE)
    (tmp_path / "shifted.txt").write_text(SHIFTED)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def say(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["listing", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_as_a_process(folder: Path) -> None:
    done = headrace("listing", "tides", "bar", "--for", "com-channel", folder=folder)
    assert (done.returncode, done.stderr) == (0, b"")
    lines = done.stdout.decode("ascii").splitlines()
    assert lines[0] == "10 REM TIDES: High and low water"
    assert [line.split(" ", 1)[1] for line in lines if 'A1$="' in line] == ['A1$="bar": REM station']
    assert [line.split(" ", 1)[1] for line in lines if '"ASK' in line] == ['Q$="ASK TIDES "+A1$']
    assert lines[-1].endswith('PRINT "END": END')


@pytest.mark.parametrize("trait", WRITERS)
def test_each_trait_writes_with_its_own_settings(
    trait: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text, _ = say(capsys, "TIDES", "--for", trait)
    assert code == 0
    assert "SET" in text.upper()
    assert "TIME" in text


def test_settings_add_to_the_traits_own_or_to_a_profile(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def request(*words: str) -> str:
        _, text, _ = say(capsys, "tides", "--for", "com-channel", *words)
        pieces = [line.split('"')[1] for line in text.splitlines() if " Q$=" in line]
        return "".join(pieces[: next(place for place, each in enumerate(pieces) if each.startswith("ASK"))])

    assert request() == f"SET {WRITERS['com-channel'].setup}"
    assert request("--set", "page=9", "MARK=on") == f"SET {WRITERS['com-channel'].setup} page=9 MARK=on"
    assert request("--profile", "Narrow") == "SET narrow"
    assert request("--profile", "narrow", "--set", "window=2", "--set", "page=5") == (
        "SET narrow window=2 page=5"
    )


def test_into_a_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, text, _ = say(capsys, "tides", "--for", "structured")
    assert (code, say(capsys, "tides", "--for", "structured", "--output", "t.bas")) == (0, (0, "", ""))
    assert (folder / "t.bas").read_text() == text
    code, text, error = say(capsys, "tides", "--for", "structured", "--output", "no/such/folder.bas")
    assert (code, text) == (1, "")
    assert "cannot write no/such/folder.bas" in error


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["tide", "--for", "com-channel"], "did you mean tides?"),
        (["nothing", "--for", "com-channel"], "there are: tides, wide, score, sign"),
        (["tides", "--for", "com-chanel"], "did you mean com-channel?"),
        (["tides"], "--for TRAIT is wanted"),
        (["--for", "com-channel"], "SOURCE is wanted, one of: tides, wide, score, sign"),
        (["tides", "--for", "com-channel", "--profile", "narow"], "did you mean narrow?"),
        (["tides", "mol", "--for", "com-channel"], "did you mean mole?"),
        (["tides", "mole", "bar", "--for", "com-channel"], "takes only STATION"),
        (["wide", "x", "--for", "com-channel"], "takes no args"),
        (["tides", "--for", "com-channel", "--set", "windw=2"], "did you mean window?"),
        (["tides", "--for", "com-channel", "--set", "window"], "KEY=VALUE"),
        (["tides", "--for", "com-channel", "--set", "window=many"], "window"),
        (["tides", "--for", "com-channel", "--profile", "ends"], "eol=cr"),
        (["score", "ADA", "many", "--for", "com-channel"], "points is a whole number, not 'many'"),
        (["wide", "--for", "com-channel"], "--set most=120 window=2"),
        (["wide", "--for", "com-channel", "--profile", "buffer-128"], "--set most=120 window=1)"),
        (["wide", "--for", "structured", "--profile", "buffer-128"], "--set most=120 window=1)"),
        (["wide", "--for", "structured", "--set", "most=100"], "(try --set most=120)"),
        (["sign", "--for", "com-channel", "--set", "check=sum"], "check=none"),
        (
            ["tides", "--for", "com-channel", "--set", "charset=cp037"],
            "charset=cp037 has other codes than ASCII",
        ),
        (["tides", "--for", "6502", "--set", "charset=cp037"], "charset=cp037 has other codes than ASCII"),
        (["tides", "--for", "z80", "--profile", "shifted"], "charset=table:shifted has other codes"),
        (["tides", "--for", "c89", "--profile", "shifted"], "charset=table:shifted has other codes"),
        (
            ["tides", "--for", "structured", "--profile", "shifted", "--set", "eol=lf"],
            "charset=table:shifted",
        ),
        (["sign", "--for", "z80"], "lines of text after its request, which no z80 listing sends"),
    ],
)
def test_what_is_wrong_is_said_with_the_way_on(
    words: list[str], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text, error = say(capsys, *words)
    assert (code, text) == (2, "")
    assert error.startswith("headrace: ")
    assert said in error
    assert error.count("\n") == 1


def test_the_proposed_settings_are_taken(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, error = say(capsys, "wide", "--for", "com-channel", "--set", "most=120", "window=2")
    assert (code, error) == (0, "")


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        (("most=120", "window=0"), "try --set window=2"),
        (("most=120", "window=3"), "3 lines of 120"),
        (("most=124", "check=crc", "window=3"), "3 lines of 124"),
    ],
)
def test_more_than_the_buffer_holds_is_warned_of(
    pairs: tuple[str, ...], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text, error = say(capsys, "wide", "--for", "hash-channel", "--set", *pairs)
    assert code == 0
    assert text
    assert said in error
    assert "255" in error


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        (("hash-channel", "--profile", "buffer-128"), "eol=cr case=upper typed=lower"),
        (("hash-channel", "--profile", "narrow", "--set", "window=2"), "case=upper typed=lower"),
        (("hash-channel", "--profile", "caps-only", "--set", "window=3"), "eol=cr"),
        (("com-channel", "--profile", "buffer-128"), "eol=cr"),
        (("bput-channel", "--profile", "buffer-128"), "eol=cr"),
        (("structured", "--profile", "buffer-128"), "eol=lf"),
        # Their programs take any line end and case, and their own settings are a profile's alone.
        (("c89", "--profile", "buffer-128"), ""),
        (("6502", "--profile", "buffer-128"), ""),
        (("z80", "--profile", "buffer-128"), ""),
        (("com-channel", "--profile", "narrow", "--set", "window=2"), ""),
        (("hash-channel", "--profile", "narrow", "--set", "window=2", "case=upper", "typed=lower"), ""),
        (("hash-channel", "--set", "case=mixed"), ""),  # as it was asked for
    ],
    ids=lambda each: " ".join(each) if isinstance(each, tuple) else None,
)
def test_what_a_profile_takes_away_is_warned_of(
    words: tuple[str, ...], missing: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text, error = say(capsys, "tides", "--for", *words)
    assert (code, bool(text)) == (0, True)
    if not missing:
        assert error == ""
        return
    assert f"{words[2]} has not {missing}, which {words[0]} machines may need" in error
    assert error.count("\n") == 1
    _, _, error = say(capsys, "tides", "--for", *words, "--set", *missing.split())
    assert error == ""


def test_a_missing_catalogue_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, text, error = say(capsys, "tides", "--for", "c89", "--config", str(tmp_path / "none.toml"))
    assert (code, text) == (2, "")
    assert "no catalogue" in error
