"""`headrace record`: sources and whole places, kept for a gateway without a network."""

import io
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from gateway.commands import record
from gateway.service.files.walking import Walked
from tests.gateway.commands.processes import HEADRACE, PATIENCE, ROOT, headrace
from tests.gateway.commands.test_sites import KEY, Stand, stand

__all__ = ["stand"]


def test_a_source_and_a_place(stand: Stand) -> None:
    (stand.folder / "shelf" / "deep").mkdir()
    (stand.folder / "shelf" / "deep" / "well.txt").write_text("Water\n")
    done = headrace("record", "--site", "hall", "n one", "site:page", "shelf:", folder=stand.folder, PIER=KEY)
    said = done.stdout.decode()
    assert done.returncode == 0, done.stderr
    assert "ASK N one: 200 00002 003 ..\n" in said
    assert "SHELF: 2 folders, 2 documents, 13 bytes\n" in said
    assert "hall: 6 recordings, 6 of them new\n" in said
    assert "query pier of http://" in done.stderr.decode()
    again = headrace("record", "--site", "hall", "n one", folder=stand.folder, PIER=KEY)
    assert "hall: 6 recordings, 0 of them new\n" in again.stdout.decode()
    stand.lose()
    requests = ("ASK n one", "TEXT site:page", "LIST shelf:", "TEXT shelf:deep/well.txt")
    offline = headrace("say", "--offline", "hall", *requests, folder=stand.folder)
    assert offline.returncode == 0, offline.stdout


def test_what_cannot_be_had(stand: Stand) -> None:
    done = headrace("record", "--site", "hall", "site:nothing", "--most", "1", folder=stand.folder, PIER=KEY)
    assert done.returncode == 1
    assert b"nothing: 450 " in done.stderr
    done = headrace("record", "--site", "hall", "n one two", folder=stand.folder, PIER=KEY)
    assert done.stdout.startswith(b"ASK N one two: 501 00001 040 .. Wanted: ASK N WHICH\n")


def test_choices_are_asked_for_one_by_one_and_other_args_have_to_be_told(stand: Stand) -> None:
    path = stand.folder / "headrace.toml"
    done = headrace("record", "--site", "hall", folder=stand.folder, PIER=KEY)
    assert b"N wants WHICH: left out, as it has no choices" in done.stderr
    assert (done.returncode, b"nothing to record: name a source" in done.stderr) == (2, True)
    path.write_text(
        path.read_text().replace(
            'args = ["which"]', 'args = ["which"]\nchoices = { which = { a = "1", b = "2" } }'
        )
    )
    done = headrace("record", "--site", "hall", folder=stand.folder, PIER=KEY)
    assert "ASK N a: 200" in done.stdout.decode()
    assert "ASK N b: 200" in done.stdout.decode()


SENDING = """
[source.pair]
url = "http://127.0.0.1:9/{one}/{two}"
args = ["one", "two"]
field = [{ name = "X", width = 1 }]
[source.send]
url = "http://127.0.0.1:9/"
method = "POST"
field = [{ name = "X", width = 1 }]
"""


def test_what_a_source_does_not_take(tmp_path: Path) -> None:
    done = headrace("record", "--site", "hall", folder=tmp_path)
    assert (done.returncode, b"no catalogue at headrace.toml" in done.stderr) == (2, True)
    (tmp_path / "headrace.toml").write_text(SENDING)
    done = headrace("record", "--site", "hall", "send", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr == (
        b"headrace: SEND changes something; record it as it happens, with serve --record\n"
    )
    done = headrace("record", "--site", "hall", "pair a", folder=tmp_path)
    assert done.returncode == 1
    assert done.stdout.startswith(b"ASK PAIR a: 501 00001 040 .. Wanted: ASK PAIR ONE TWO\n")


def test_a_bound_that_was_reached_is_told(stand: Stand) -> None:
    (stand.folder / "shelf" / "second.txt").write_text("More\n")
    done = headrace("record", "--site", "hall", "--most", "1", "shelf:", folder=stand.folder, PIER=KEY)
    assert done.returncode == 1
    assert b"SHELF: 1 folders, 1 documents, " in done.stdout
    assert re.search(rb"^  left out beyond .+: see --depth, --most and --bytes$", done.stderr, re.MULTILINE)


class Terminal(io.StringIO):
    """Takes what is shown, as a terminal does."""

    def isatty(self) -> bool:
        return True


def test_a_terminal_is_shown_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", terminal := Terminal())
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    with record._progress("SHELF:") as step:
        step(Walked(documents=3, known=4))
    assert "SHELF:" in terminal.getvalue()
    assert "75%" in terminal.getvalue()


def test_a_disk_that_takes_nothing_is_a_failure(stand: Stand) -> None:
    """A file as large as the limit allows (RLIMIT_FSIZE) stands for a full disk."""
    code = "import resource, signal, sys; from gateway.commands.main import main; "
    code += "resource.setrlimit(resource.RLIMIT_FSIZE, (99, 99)); sys.exit(main(sys.argv[1:]))"
    words = ("record", "--site", "hall", "site:page", "shelf:")
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=stand.folder,
        env={**os.environ, "PIER": KEY, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1
    assert b"headrace: 3 exchanges could not be kept\n" in done.stderr
    assert b"hall: 0 recordings, 0 of them new\n" in done.stdout


def test_wrong_words(stand: Stand) -> None:
    for words, says in (
        (["n one", "nowhere:"], b"'nowhere:': No place NOWHERE"),
        (["n one", "pages"], b"'pages': no source of that name, and no ref"),
        (["n", "--most", "0"], b"not a number above 0"),
    ):
        done = headrace("record", "--site", "hall", *words, folder=stand.folder, PIER=KEY)
        assert done.returncode == 2
        assert says in done.stderr
        assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("words", [("record", "--site", "hall", "slow"), ("say", "ASK slow")])
def test_ctrl_c_in_the_middle(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A far server that takes the request and says nothing: SIGINT ends the wait without a traceback."""
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    with socket.create_server(("127.0.0.1", 0)) as silent:
        silent.settimeout(PATIENCE)
        (tmp_path / "headrace.toml").write_text(
            f"[source.slow]\nurl = 'http://127.0.0.1:{silent.getsockname()[1]}/x'\n"
            "field = [{ name = 'X', width = 1 }]\n"
        )
        with subprocess.Popen(
            [*HEADRACE, *words], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as process:
            line, _ = silent.accept()
            with line:
                assert line.recv(4096).startswith(b"GET /x ")
                process.send_signal(signal.SIGINT)
                said, errors = process.communicate(timeout=PATIENCE)
    assert (process.returncode, errors) == (130, b"")
    assert said == (b"hall: 0 recordings, 0 of them new\n" if words[0] == "record" else b"")
