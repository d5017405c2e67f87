"""`headrace say`: the exact reply on standard output, and a code that a shell can use."""

import asyncio
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer

from gateway.commands import say, wiring
from gateway.session.wishes import Granted, Wish
from gateway.wire.replies import Lines
from tests.gateway.commands.processes import headrace
from tests.gateway.commands.test_record import Terminal

CATALOGUE = """
[[listen]]
profile = "lines"
[profile.lines]
eol = "lf"
[source.words]
url = "{url}"
rows = "$[*]"
[[source.words.field]]
name = "WORD"
width = 5
[source.send]
url = "{url}"
method = "POST"
body = "lines"
rows = "$[*]"
[[source.send.field]]
name = "WORD"
width = 5
"""


@pytest.fixture
def folder(httpserver: HTTPServer, tmp_path: Path) -> Path:
    httpserver.expect_request("/w", method="GET").respond_with_json(["tide", "mole"])
    httpserver.expect_request("/w", method="POST", data="one\ntwo\n").respond_with_json(["sent"])
    (tmp_path / "headrace.toml").write_text(CATALOGUE.format(url=httpserver.url_for("/w")))
    return tmp_path


def test_the_exact_reply_of_one_session(folder: Path) -> None:
    done = headrace("say", "SET page=1", "ASK words", "MORE", folder=folder)
    assert done.stdout == b"200 00000 000 ..\n200 00001 005 +.\ntide \n200 00001 005 ..\nmole \n"
    assert (done.returncode, done.stderr) == (0, b"")


def test_data_lines_are_requests_too(folder: Path) -> None:
    done = headrace("say", "TELL send", ">one", ">two", ".", folder=folder)
    assert done.stdout == b"350 00000 000 ..\n200 00001 005 ..\nsent \n"
    assert done.returncode == 0


@pytest.mark.parametrize("requests", [("ASK nothing",), ("ASK nothing", "NOOP"), ("PING",)])
def test_an_error_reply_is_exit_code_1(folder: Path, requests: tuple[str, ...]) -> None:
    done = headrace("say", *requests, folder=folder)
    assert done.returncode == 1
    assert done.stdout[:3] in {b"550", b"500"}


def test_bye_ends_it(folder: Path) -> None:
    assert headrace("say", "BYE", "NOOP", folder=folder).stdout == b"221 00000 000 ..\n"
    done = headrace("say", "NOOP", "BYE", folder=folder)
    assert (done.returncode, done.stdout[-17:], done.stderr) == (0, b"221 00000 000 ..\n", b"")


def test_no_catalogue_or_no_request_is_2(tmp_path: Path) -> None:
    done = headrace("say", "NOOP", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"no catalogue at headrace.toml" in done.stderr
    assert headrace("say", folder=tmp_path).returncode == 2


def test_requests_are_in_the_sessions_charset(folder: Path) -> None:
    done = headrace("say", "SET charset=latin1", "NOOP caf\u00e9", folder=folder, PYTHONUTF8="1")
    assert done.stdout.endswith("café".ljust(40).encode("latin-1") + b"\n")


def test_what_comes_after_bye_is_said_to_be_lost(folder: Path) -> None:
    done = headrace("say", "BYE", "NOOP", folder=folder)
    assert done.stderr == b"headrace: 1 requests after BYE not sent\n"


@pytest.mark.parametrize("request_line", ["STORE shelf:n.txt", "APPEND shelf:n.txt", "STORE shelf:n.txt 99"])
def test_a_transfer_that_was_not_ended_is_told_and_is_exit_code_1(tmp_path: Path, request_line: str) -> None:
    (tmp_path / "shelf").mkdir()
    base = (tmp_path / "shelf").as_uri()
    (tmp_path / "headrace.toml").write_text(f'[place.shelf]\nbase = "{base}"\nwrite = true\n')
    done = headrace("say", request_line, ">x", folder=tmp_path)
    assert (done.returncode, done.stdout) == (1, b"350 00000 000 ..\r\n")
    assert done.stderr == b"headrace: the last transfer was not ended: nothing stored\n"
    assert not list((tmp_path / "shelf").iterdir())
    done = headrace("say", "STORE shelf:n.txt", ">x", ".", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, b"")
    assert (tmp_path / "shelf" / "n.txt").read_bytes() == b"x\n"


def test_so_is_a_tell(folder: Path) -> None:
    done = headrace("say", "TELL send", ">one", folder=folder)
    assert (done.returncode, done.stdout) == (1, b"350 00000 000 ..\n")
    assert done.stderr == b"headrace: the last transfer was not ended: nothing sent\n"


def test_help_tells_how_data_is_said(tmp_path: Path) -> None:
    said = " ".join(headrace("say", "--help", folder=tmp_path).stdout.decode().split())
    assert "each beginning with >" in said
    assert "'>Hello' ." in said


def test_a_counter_is_no_matter_for_say(tmp_path: Path) -> None:
    (tmp_path / "headrace.toml").write_text(f'[place.club]\nbase = "{tmp_path.as_uri()}/"\n')
    done = headrace("say", "TALK club:", folder=tmp_path)
    assert (
        done.stdout
        == b"502 00001 040 ..\r\n" + b"No counter here; headrace serve has one".ljust(40) + b"\r\n"
    )


class Stuck:
    """Grants nothing: it fails in a way that nobody foresaw, or takes too long."""

    def __init__(self, fault: Exception | None = None) -> None:
        self._fault = fault

    def now(self, wish: Wish) -> Granted | None:
        """Nothing."""

    async def answer(self, wish: Wish, seconds: float) -> Granted:
        """Never."""
        if self._fault is not None:
            raise self._fault
        await asyncio.sleep(60)
        raise AssertionError(wish)


async def said_by(answers: Stuck, folder: Path, wait: int) -> bytes:
    """The reply to a request that `answers` is to grant within `wait` seconds."""
    catalogue = wiring.read_catalogue(folder / "headrace.toml")
    catalogue = replace(catalogue, gateway=replace(catalogue.gateway, wait=wait))
    got: list[bytes] = []

    def put(status_line: str, lines: Lines) -> None:
        got.extend(lines)

    assert await say.converse(catalogue, answers, ["ASK words", "NOOP on"], put)
    assert got[-1].startswith(b"on")  # the next request is answered as ever
    return b"".join(got[:-2])


async def test_what_nobody_foresaw_is_451(folder: Path) -> None:
    assert (await said_by(Stuck(ZeroDivisionError("x")), folder, 9)).startswith(b"451 00001 ")


async def test_a_terminal_is_shown_the_wait(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(say, "_SHOW_AFTER", 0.01)
    monkeypatch.setattr(sys, "stderr", terminal := Terminal())
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    assert (await said_by(Stuck(), folder, 1)).startswith(b"420 00001 ")
    assert "waiting for the far server" in terminal.getvalue()
    assert terminal.getvalue().endswith("\x1b[2K")  # and the bar is taken away
