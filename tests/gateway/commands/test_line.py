"""`headrace line`: from the command line to tables, plots and exit codes."""

import argparse
import re
import sys
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from gateway.commands.line import number
from gateway.commands.main import main, parser
from tests.gateway.commands.processes import headrace

CATALOGUE = """
[profile.small]
eol = "cr"
window = 1

[source.tides]
about = "High and low water"
url = "https://tides.example/events"
rows = "$.events[*]"
[[source.tides.field]]
name = "TIME"
at = "$.when"
kind = "time"
width = 5
[[source.tides.field]]
name = "STATION"
at = "$.where"
width = 47
"""

SLOW = ("--byte-ms", "0.5", "--record-ms", "12.5", "--set", "eol=cr")
"""A polled machine that loses bytes at 9,600 bits a second."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


@pytest.mark.usefixtures("folder")
def test_bytes_lost_are_1_and_none_lost_is_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["line", "--baud", "9600", *SLOW]) == 1
    said = capsys.readouterr().out
    assert re.search(r"^lost +\d+ of 837 bytes$", said, re.MULTILINE)
    found = re.search(r"^    SET (.+)$", said, re.MULTILINE)
    assert found
    assert main(["line", "--baud", "9600", *SLOW, *found[1].split()]) == 0
    assert re.search(r"^lost +none of 837 bytes$", capsys.readouterr().out, re.MULTILINE)


@pytest.mark.usefixtures("folder")
def test_hand_arithmetic_comes_out(capsys: pytest.CaptureFixture[str]) -> None:
    """17 and 48 times 81 characters with CR, 3,905 of 10 bits, at 2,400 bits a second (common practice)."""
    arguments = ["--records", "48", "--width", "80", "--byte-cycles", "0", "--record-cycles", "0"]
    assert main(["line", "--baud", "2400", *arguments, "--set", "eol=cr"]) == 0
    assert f"{3905 / 240:.3f} s; the line is busy for 100.0%" in capsys.readouterr().out


@pytest.mark.usefixtures("folder")
def test_the_block_is_a_profile(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["line", "--baud", "9600", *SLOW, "--no-plot"])
    said = capsys.readouterr().out
    block = said[said.index("    [profile.my-machine]") :].split("A ready")[0]
    (folder / "headrace.toml").write_text("\n".join(line.strip() for line in block.splitlines()))
    assert tomllib.loads((folder / "headrace.toml").read_text())["profile"]["my-machine"]["eol"] == "cr"
    assert main(["line", "--baud", "9600", *SLOW[:4], "--profile", "my-machine"]) == 0


def test_a_source_has_its_own_width(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Five, a blank and 47 columns, as the catalogue says; the profile adds its mark."""
    (folder / "headrace.toml").write_text(CATALOGUE)
    arguments = ["line", "--baud", "9600", "--source", "Tides", "--profile", "small", "--no-plot"]
    assert main(arguments) == 0
    said = capsys.readouterr().out
    assert "20 records of 53" in said
    assert re.search(r"^settings +window=1$", said, re.MULTILINE)
    assert main([*arguments, "--set", "mark=on", "check=sum", "--records", "5"]) == 0
    assert "5 records of 56" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--source", "x"], "no source x; there are tides"),
        (["--source", "tide"], "no source tide; did you mean tides?"),
        (["--profile", "huge"], "no profile huge; there are buffer-128"),
        (["--profile", "buffer128"], "no profile buffer128; did you mean buffer-128?"),
        (["--source", "tides", "--set", "most=40", "cols=40"], "53 columns, and the client takes 40"),
        (["--set", "window"], "KEY=VALUE"),
        (["--set", "window=many"], "window"),
        (["--set", "wind=1"], "no setting wind; did you mean window?"),
        (["--width", "300"], "1-255 columns"),
        (["--records", "-1"], "records"),
        (["--records", "90000"], "fewer records"),
        (["--mhz", "0"], "--mhz"),
        (["--fifo", "0"], "UART"),
        (["--buffer", "128"], "--buffer needs --receiver interrupt"),
        (["--noise", "2"], "bit-error rate"),
        (["--latency", "-1"], "latency"),
        (["--tick", "5000"], "once a second"),
        (["--spare", "-1"], "percent to spare"),
        (["--look-cycles", "9", "--receiver", "interrupt"], "only a polled receiver looks"),
        (["--notice-cycles", "101"], "part of the byte's time"),
        (["--status-ms", "61000"], "work takes"),
        (["--xoff-at", "90"], "polled"),
        (["--xon-at", "9", "--receiver", "interrupt"], "--xon-at needs --xoff-at"),
        (["--xoff-at", "900", "--receiver", "interrupt"], "within the buffer"),
        (["--data-bits", "7", "--set", "eol=9b"], "8 data bits"),
        (["--plot", "nowhere/a.svg"], "cannot write nowhere/a.svg: No such file or directory"),
    ],
    ids=lambda each: " ".join(each) if isinstance(each, list) else "",
)
def test_wrong_values_are_2_with_a_sentence(
    folder: Path, arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "headrace.toml").write_text(CATALOGUE)
    assert main(["line", "--baud", "9600", *arguments]) == 2
    said = capsys.readouterr().err
    assert said.startswith("headrace: ")
    assert said.count("\n") == 1
    assert words in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "--baud"),
        (["--baud", "fast"], "'fast' is no number"),
        (["--baud", "1e99999"], "out of all proportion"),
        (["--baud", "nan"], "out of all proportion"),
        (["--baud", "300", "--parity", "strange"], "even"),
        (["--baud", "300", "--stop-bits", "3"], "1.5"),
        (["--baud", "300", "--fifo", "many"], "--fifo"),
        (["--baud", "300", "--byte-ms", "1", "--byte-cycles", "1"], "not allowed with"),
        (["--baud", "300", "--plot", "a.gif"], "FILE.svg"),
    ],
)
@pytest.mark.usefixtures("folder")
def test_wrong_usage_is_2(arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["line", *arguments])
    assert ended.value.code == 2
    assert words in capsys.readouterr().err


def test_a_source_needs_the_catalogue(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["line", "--baud", "9600", "--source", "tides"]) == 2
    assert "no catalogue" in capsys.readouterr().err
    (folder / "headrace.toml").write_text("[source.tides]\nurl = 3\n")
    assert main(["line", "--baud", "9600", "--source", "tides"]) == 2
    assert "headrace.toml:2" in capsys.readouterr().err
    assert main(["line", "--baud", "9600", "--no-plot"]) in {0, 1}  # without one it is not looked at


@pytest.mark.usefixtures("folder")
def test_a_ready_profile_needs_no_catalogue(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["line", "--baud", "9600", *SLOW[:4], "--profile", "polled", "--no-plot"]) == 0
    assert "window=1" in capsys.readouterr().out


def test_the_picture_is_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["line", "--baud", "9600", *SLOW, "--no-plot", "--no-advice", "--plot", "a.svg"]) == 1
    root = etree.parse(folder / "a.svg").getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    said = capsys.readouterr().out
    assert "against time" not in said
    assert "SET" not in said


@pytest.mark.usefixtures("folder")
def test_nothing_is_wider_than_80_columns_or_than_the_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for columns in (60, 80, 200):
        monkeypatch.setenv("COLUMNS", str(columns))
        main(
            [
                "line",
                "--baud",
                "9600",
                "--receiver",
                "interrupt",
                *SLOW,
                "--record-ms",
                "90",
                "--noise",
                "0.01",
            ]
        )
        assert max(map(len, capsys.readouterr().out.splitlines())) <= min(columns, 80)


@pytest.mark.usefixtures("folder")
def test_on_a_terminal_tables_have_rules(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "dumb")
    main(["line", "--baud", "9600", *SLOW])
    said = capsys.readouterr().out
    assert "──" in said
    assert "window=1" in said
    assert "\x1b" not in said or "\x1b[" in said
    assert max(map(len, re.sub(r"\x1b\[[\d;]*m", "", said).splitlines())) <= 80


@pytest.mark.usefixtures("folder")
def test_on_a_narrow_terminal_no_setting_is_cut(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rules and their blanks take room that 40 columns do not have: "window..." tells nobody what to type."""
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "dumb")
    for columns in (20, 40, 54, 55, 56, 57, 80):
        monkeypatch.setenv("COLUMNS", str(columns))
        main(["line", "--baud", "9600", "--no-plot", *SLOW])
        said = re.sub(r"\x1b\[[\d;]*m", "", capsys.readouterr().out)
        advice = said[said.index("what loses nothing") :]
        for words in ("as fast as the link", "window=1 ", "profile polled"):
            assert advice.count(words) == 1, columns
        assert "\u2026" not in said


@pytest.mark.usefixtures("folder")
def test_with_flow_xon_a_buffer_stops_the_line_at_three_quarters(capsys: pytest.CaptureFixture[str]) -> None:
    def said(*options: str) -> str:
        words = ["line", "--baud", "9600", "--receiver", "interrupt", "--byte-ms", "2"]
        main([*words, "--no-advice", "--adapter", "1", "--set", "flow=xon", *options])
        return capsys.readouterr().out

    told = said("--buffer", "100")
    assert told == said("--buffer", "100", "--xoff-at", "75", "--xon-at", "25")
    assert told != said("--buffer", "100", "--xoff-at", "90", "--xon-at", "25")


def test_where_the_terminal_cannot_show_blocks_the_plot_is_ascii(tmp_path: Path) -> None:
    done = headrace("line", "--baud", "9600", *SLOW, folder=tmp_path, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (1, b"")
    assert b"# on average" in done.stdout
    done = headrace("line", "--baud", "9600", *SLOW, folder=tmp_path, PYTHONIOENCODING="utf-8")
    assert "█ on average" in done.stdout.decode()


@pytest.mark.usefixtures("folder")
def test_noise_is_the_same_by_seed(capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for seed in ("5", "5", "6"):
        main(["line", "--baud", "9600", "--noise", "0.01", "--seed", seed, "--no-advice"])
        said.append(capsys.readouterr().out)
    assert said[0] == said[1] != said[2]
    assert "garbled" in said[0]


@pytest.mark.usefixtures("folder")
def test_every_option_reaches_the_simulation(capsys: pytest.CaptureFixture[str]) -> None:
    """Each of them changes the time, the losses or the words of this reply."""
    base = ["line", "--baud", "9600", "--receiver", "interrupt", "--buffer", "64", "--byte-ms", "3"]
    base += ["--no-advice", "--xoff-at", "48", "--adapter", "40", "--set", "flow=xon"]

    def said(*more: str) -> str:
        main([*base, *more])
        return capsys.readouterr().out

    plain = said()
    for more in (
        ("--data-bits", "7"),
        ("--parity", "even"),
        ("--stop-bits", "2"),
        ("--noise", "0.01"),
        ("--receiver", "interrupt", "--buffer", "65"),
        ("--fifo", "2"),
        ("--overrun", "old"),
        ("--mhz", "2"),
        ("--byte-ms", "1"),
        ("--record-cycles", "90000"),
        ("--record-ms", "90"),
        ("--service-cycles", "900"),
        ("--service-ms", "0.9"),
        ("--ends-at", "last"),
        ("--xoff-at", "30"),
        ("--xon-at", "40"),
        ("--reaction-ms", "9"),
        ("--reaction-cycles", "9000"),
        ("--latency", "0.1"),
        ("--adapter", "10"),
        ("--adapter-xon",),
        ("--records", "21"),
        ("--width", "41"),
        ("--profile", "polled"),
        ("--set", "pace=100"),
    ):
        assert said(*more) != plain, more
    paced = said("--set", "pace=300")
    assert said("--set", "pace=300", "--tick", "50") != paced
    del base[base.index("--byte-ms") : base.index("--byte-ms") + 2]
    assert len({said("--byte-cycles", "3000"), said("--byte-cycles", "3500"), said()}) == 3
    assert said("--byte-cycles", "3000") == plain


@pytest.mark.usefixtures("folder")
def test_the_status_line_and_the_waiting_loop_have_their_times(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: a status line alone, 17 characters of 10 bits at 960 bits a second, 10.417 ms each."""

    def seconds(*more: str) -> str:
        base = ["line", "--baud", "960", "--records", "0", "--record-ms", "90", "--set", "eol=cr"]
        assert main([*base, "--no-plot", "--no-advice", *more]) == 0
        found = re.search(r"^time +([0-9.]+) s", capsys.readouterr().out, re.MULTILINE)
        assert found
        return found[1]

    quick = ("--byte-ms", "0")
    assert seconds(*quick) == "0.267"  # 177.08 + 90
    assert seconds(*quick, "--status-cycles", "2000") == seconds(*quick, "--status-ms", "2") == "0.179"
    busy = ("--byte-ms", "10", "--status-ms", "0")
    assert seconds(*busy) == "0.187"  # each byte is taken as it comes: 177.08 + 10
    # Each is taken 9 ms later: the next one's look is 1 ms after that.
    assert seconds(*busy, "--notice-ms", "9") == seconds(*busy, "--notice-cycles", "9000") == "0.196"
    # The first is taken at 18 ms, the second turn of 9. From then on the next one is there already: 16 times
    # 10 ms, and 10 for the last.
    assert seconds(*busy, "--look-ms", "9") == seconds(*busy, "--look-cycles", "9000") == "0.188"


@pytest.mark.usefixtures("folder")
def test_what_is_proposed_has_two_percent_to_spare(capsys: pytest.CaptureFixture[str]) -> None:
    """A pace by hand: 2 / 0.013 s and 2 / (1.02 * 0.013 s), as in the tests of gateway.serial.advice."""

    def pace(*more: str) -> str:
        main(["line", "--baud", "9600", *SLOW, "--records", "12", "--tick", "0", "--no-plot", *more])
        found = re.search(r"^pace=(\d+) ", capsys.readouterr().out, re.MULTILINE)
        assert found
        return found[1]

    assert pace("--spare", "0") == "153"
    assert pace() == pace("--spare", "2") == "150"


def test_every_option_has_a_line_of_help() -> None:
    (commands,) = (each for each in parser()._actions if isinstance(each, argparse._SubParsersAction))
    for action in commands.choices["line"]._actions:
        assert action.help, action.dest


@pytest.mark.parametrize("text", ["0.1", "9600", "1e3", "-2.50"])
def test_numbers_are_as_they_are_written(text: str) -> None:
    assert number(text) == Fraction(text)
