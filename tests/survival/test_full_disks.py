"""A disk of 1 MB that is full, under everything that a real gateway keeps: state, recordings, trace and log.

Whoever needs the disk is answered 452, nothing is there by half, everybody else is served, and all goes on by
itself when there is room again. Where no disk can be mounted, the process may write no file meanwhile.
"""

import asyncio
import json
import os
import signal
import sqlite3
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer

from gateway.rehearsal.script.reading import read_script
from gateway.service.caching.storefile import FILE_NAME
from tests.disks import filled, mounted
from tests.gateway.commands.processes import PATIENCE, headrace
from tests.survival.clients import Line
from tests.survival.ground import Gateway

_QUICK = {"STORE_PAUSE_SECONDS": 0.2, "ACCOUNTS_SAVED_SECONDS": 0.1}
_BODY = b"head" + bytes(range(256)) * 100


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "small"
    folder.mkdir()
    with mounted(folder):
        yield folder


@pytest.fixture
def real(small: Path) -> bool:
    """Whether it is a disk, and not only files that may not be written."""
    return small.is_mount()


@pytest.fixture
def catalogue(tmp_path: Path, httpserver: HTTPServer) -> Path:
    for number in range(9):
        httpserver.expect_request(f"/{number}").respond_with_data(f"[{number}]", content_type="text/json")
    (tmp_path / "shelf").mkdir()
    path = tmp_path / "headrace.toml"
    path.write_text(
        f"""
        [gateway]
        state = "small/state"
        [[listen]]
        port = 0
        rights = "all"
        [rights.all]
        sources = ["*"]
        places = ["*"]
        write = ["*"]
        requests = 1000000
        [place.shelf]
        base = "{(tmp_path / "shelf").as_uri()}/"
        write = true
        [source.n]
        url = "{httpserver.url_for("/")}{{n}}"
        args = ["n"]
        rows = "$[*]"
        keep = "1h"
        [[source.n.field]]
        name = "N"
        at = "$"
        kind = "int"
        width = 4
        """
    )
    return path


async def stored(line: Line, body: bytes) -> bytes:
    """The reply to a STORE of it, be it before or after the 350."""
    async with asyncio.timeout(PATIENCE):
        reply = await line.say(f"STORE shelf:a {len(body)}")
        return await line.give(body) if reply.startswith(b"350") else reply


async def line_to(gateway: Gateway) -> Line:
    return Line(*await asyncio.open_connection("127.0.0.1", await gateway.port()), Counter())


def shelf(home: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in (home / "shelf").iterdir()}


async def test_the_state_the_trace_and_the_log(tmp_path: Path, small: Path, catalogue: Path) -> None:
    gateway = Gateway(tmp_path, "--trace", "small/trace", "--log", "info", said=small / "said", limits=_QUICK)
    try:
        line = await line_to(gateway)
        assert (await stored(line, b"old")).startswith(b"250")
        assert (await line.say("ASK n 1")).startswith(b"200")
        with filled(small, gateway.pid):
            await _while_full(tmp_path, gateway, line)
            for text in _reloads(catalogue):
                (tmp_path / "headrace.toml").write_text(text)
                os.kill(gateway.pid, signal.SIGHUP)
                await asyncio.sleep(0.3)
            await _until_answered(line, "ASK m 1")  # nobody could be told, and it was done all the same
            await asyncio.sleep(0.3)
        assert (await stored(line, _BODY)).startswith(b"250")
        assert (await line.say("COPY shelf:a shelf:b")).startswith(b"250")
        assert shelf(tmp_path) == {"a": _BODY, "b": _BODY}
        await asyncio.sleep(0.3)  # the pause of the cache's disk
        assert (await line.say("ASK m 3")).startswith(b"200")
        other = await line_to(gateway)  # the trace is of whole sessions
        assert (await other.say("NOOP AGAIN")).startswith(b"200")
        for each in (line, other):
            each.close()
        os.kill(gateway.pid, signal.SIGHUP)
        await asyncio.sleep(0.5)
        assert await gateway.end() == 0
    finally:
        gateway.kill()
    _check_kept(small, gateway.said())


def _reloads(catalogue: Path) -> tuple[str, ...]:
    """One with a mistake, of which nobody can be told now, and a good one."""
    text = catalogue.read_text()
    return f"{text}[nonsense]\n", text.replace("source.n", "source.m") + "[[listen]]\nport = 0\n"


async def _while_full(home: Path, gateway: Gateway, line: Line) -> None:
    reply = await stored(line, _BODY)
    assert reply.startswith(b"452"), reply
    assert (await line.say("COPY shelf:a shelf:b")).startswith(b"452")
    assert (await line.say("MKDIR shelf:made")).startswith(b"250")
    assert (await line.say("ERASE shelf:made/")).startswith(b"250")
    assert (await line.say("READ shelf:a")).startswith(b"200")
    for number in (1, 2):
        assert (await line.say(f"ASK n {number}")).startswith(b"200")
    for _ in range(40):  # more than fits into what the trace and the log have begun of a block
        await line.say(f"NOOP {'x' * 200}")
    assert shelf(home) == {"a": b"old"}
    assert list((home / "small" / "state" / "spool").iterdir()) == []


async def _until_answered(line: Line, request: str) -> None:
    ends = time.monotonic() + 10
    while not (await line.say(request)).startswith(b"200"):
        assert time.monotonic() < ends
        await asyncio.sleep(0.05)


def _check_kept(small: Path, said: str) -> None:
    assert said.endswith("\n")
    assert "catalogue reloaded" in said[said.rindex("cache's disk works again") :]
    assert all(each.count("time=") <= 1 for each in said.splitlines()), "two lines in one"
    (account,) = json.loads((small / "state" / "accounts.json").read_text())["counts"].values()
    assert account[0] >= 14
    with sqlite3.connect(small / "state" / FILE_NAME) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT count(*) FROM copies").fetchone() >= (1,)
    connection.close()
    names = {each.name for each in (small / "state").iterdir()}
    assert names == {FILE_NAME, "accounts.json", "spool"}
    script = (small / "trace").read_text()
    read_script(script, "trace")
    assert "# the rest of c1 is left out" in script
    assert "say NOOP AGAIN" in script


@pytest.mark.usefixtures("catalogue")
async def test_a_disk_that_is_full_half_way(tmp_path: Path, small: Path, real: bool) -> None:
    """More than it holds comes; its rest is thrown away, and the answer is due after its end."""
    gateway = Gateway(tmp_path, limits=_QUICK)
    try:
        line = await line_to(gateway)
        assert (await stored(line, b"old")).startswith(b"250")
        if real:
            assert (await stored(line, b"x" * (2 << 20))).startswith(b"452")
        with filled(small, gateway.pid):
            assert (await stored(line, b"x" * (2 << 20))).startswith(b"452")
        assert shelf(tmp_path) == {"a": b"old"}
        assert list((small / "state" / "spool").iterdir()) == []
        assert (await stored(line, _BODY)).startswith(b"250")
        line.close()
        assert await gateway.end() == 0
    finally:
        gateway.kill()


@pytest.mark.usefixtures("catalogue")
async def test_recordings(tmp_path: Path, small: Path) -> None:
    gateway = Gateway(tmp_path, "--record", "small/hall", limits=_QUICK)
    try:
        line = await line_to(gateway)
        said = {1: await line.say("ASK n 1")}
        with filled(small, gateway.pid):
            assert (await line.say("ASK n 2")).startswith(b"200")
        for number in (3, 4):
            said[number] = await line.say(f"ASK n {number}")
        assert all(reply.startswith(b"200") for reply in said.values())
        line.close()
        assert await gateway.end() == 0
    finally:
        gateway.kill()
    assert "an exchange was not recorded" in gateway.said()
    assert not list((small / "hall").rglob("*.part"))
    requests = [f"ASK n {number}" for number in (1, 3, 4)]
    played = headrace("say", "--offline", "small/hall", *requests, folder=tmp_path)
    assert played.stdout == b"".join(said.values())
    missing = headrace("say", "--offline", "small/hall", "ASK n 2", folder=tmp_path)
    assert missing.stdout.startswith(b"504")


@pytest.fixture
def on_a_full_place(tmp_path: Path, small: Path, catalogue: Path) -> None:
    (small / "far").mkdir()
    text = catalogue.read_text().replace('"small/state"', '"state"')
    catalogue.write_text(text.replace((tmp_path / "shelf").as_uri(), (small / "far").as_uri()))


@pytest.mark.usefixtures("on_a_full_place")
async def test_a_place_on_it(tmp_path: Path, small: Path, real: bool) -> None:
    """What was taken in is kept, and delivered when there is room."""
    gateway = Gateway(tmp_path, limits=_QUICK)
    try:
        line = await line_to(gateway)
        assert (await stored(line, b"old")).startswith(b"250")
        if real:
            with filled(small, gateway.pid):
                reply = await stored(line, _BODY)
                assert reply.startswith(b"452"), reply
                assert b"Kept." in reply
                assert (small / "far" / "a").read_bytes() == b"old"
            assert {each.name for each in (small / "far").iterdir()} == {"a"}
        line.close()
        assert await gateway.end() == 0
    finally:
        gateway.kill()
    done = headrace("spool", "retry", folder=tmp_path)
    assert done.returncode == 0, done
    assert (small / "far" / "a").read_bytes() == (_BODY if real else b"old")
