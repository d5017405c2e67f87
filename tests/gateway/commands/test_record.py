"""`headrace record`: sources and whole places, kept for a gateway without a network."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

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
