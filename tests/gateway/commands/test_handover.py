"""SIGUSR2 at `headrace serve`: another process lets clients in, and nobody who is there is dropped."""

import asyncio
import errno
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path

import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from adapters import limits
from gateway.catalogue.access import Rights
from gateway.catalogue.model import Catalogue, GatewaySettings
from gateway.commands import handover, wiring
from gateway.commands.handover import Handover, is_ready
from gateway.service.running.following import command, follow, reap, tether
from gateway.service.running.inheriting import Inherited
from gateway.service.running.manager import Manager
from gateway.service.running.page import Page
from gateway.service.server import Server
from gateway.testing.clients.line import Line, NothingCame
from tests.gateway.commands.processes import PATIENCE, Serving, serving, until
from tests.gateway.commands.test_serve import port_of
from tests.gateway.service.callers.callers import Caller, free_port
from tests.gateway.service.devices.lines import Machine


class House:
    """A gateway, and those that follow it, in `folder`."""

    def __init__(self, folder: Path, gateway: Serving) -> None:
        self.folder, self.gateway = folder, gateway
        self.port = port_of(gateway)
        self.followers: list[int] = []
        self.lines = ExitStack()

    def pass_on(self) -> int:
        """The process that follows."""
        asked = self.followers[-1] if self.followers else self.gateway.process.pid
        os.kill(asked, signal.SIGUSR2)
        found = self.gateway.wait_for(r"process ([0-9]+) lets clients in")
        self.followers.append(int(found[1]))
        return self.followers[-1]

    def client(self) -> Line:
        return self.lines.enter_context(closing(Line("127.0.0.1", self.port, PATIENCE)))

    def caller(self, port: int) -> Caller:
        made = Caller(port)
        self.lines.callback(made.hang_up)
        return made

    def end(self) -> None:
        """In its own way, and if that does not come about, by force."""
        self.lines.close()
        self.gateway.process.terminate()
        for number in (signal.SIGTERM, signal.SIGKILL):
            for each in self.followers:
                with suppress(ProcessLookupError):
                    os.kill(each, number)
            ends = time.monotonic() + PATIENCE
            while any(map(runs, self.followers)) and time.monotonic() < ends:
                time.sleep(0.02)
        self.gateway.process.wait(PATIENCE)


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    made = Machine(tmp_path / "serial")
    yield made
    made.unplug()


@contextmanager
def house(folder: Path, text: str = "", *arguments: str) -> Iterator[House]:
    if text or not (folder / "headrace.toml").exists():
        (folder / "headrace.toml").write_text(f"[[listen]]\nport = 0\n{text}")
    with serving("--log", "info", *arguments, folder=folder) as gateway, ExitStack() as end:
        made = House(folder, gateway)
        end.callback(made.end)
        yield made


def said(line: Line, request: str) -> list[str]:
    """The status line and the records of the reply."""
    line.send(request.encode() + b"\r", PATIENCE)
    ends = time.monotonic() + PATIENCE
    status = line.take_until(b"\r\n", ends).decode()
    return [status, *(line.take_until(b"\r\n", ends).decode() for _ in range(int(status[4:9])))]


def runs(process: int) -> bool:
    """Whether it does; one that nobody has waited for yet does not."""
    try:
        state = Path(f"/proc/{process}/stat").read_text()
    except FileNotFoundError:
        return False
    return state.rpartition(")")[2].split()[0] != "Z"


def asked(machine: Machine) -> bytes:
    """What comes within a moment of a request."""
    machine.say(b"TIME\r")
    time.sleep(0.1)
    return machine.take()


def test_who_is_there_stays_and_who_comes_is_let_in(tmp_path: Path) -> None:
    (tmp_path / "shelf").mkdir()
    (tmp_path / "shelf" / "one.txt").write_text("one")
    text = f'[place.shelf]\nbase = "file://{tmp_path}/shelf/"\n'
    with house(tmp_path, text) as gateways:
        old = gateways.client()
        assert said(old, "BASE shelf:")[0].startswith("200")
        stop, faults, served = threading.Event(), list[str](), [0]

        def visit() -> None:
            while not stop.is_set():
                try:
                    line = gateways.client()
                    assert said(line, "TIME")[0].startswith("200 00001")
                    line.close()
                    served[0] += 1
                except (AssertionError, OSError, NothingCame) as error:
                    faults.append(repr(error))

        visitors = [threading.Thread(target=visit) for _ in range(4)]
        for each in visitors:
            each.start()
        until(lambda: served[0] > 20)
        follower = gateways.pass_on()
        at = served[0]
        until(lambda: served[0] > at + 20)
        stop.set()
        for each in visitors:
            each.join()
        assert faults == []
        assert said(old, "TEXT one.txt")[1].rstrip() == "one"  # its BASE is what it was
        new = gateways.client()
        assert said(new, "TEXT one.txt")[0].startswith("5")
        assert gateways.gateway.process.poll() is None
        old.close()
        assert gateways.gateway.process.wait(PATIENCE) == 0
        assert said(new, "TIME")[0].startswith("200")
        os.kill(follower, signal.SIGTERM)
        until(lambda: not runs(follower))


def test_one_after_the_other(tmp_path: Path) -> None:
    with house(tmp_path) as gateways:
        lines = [gateways.client()]
        for _ in range(2):
            gateways.pass_on()
            lines.append(gateways.client())
        for each in lines:
            assert said(each, "TIME")[0].startswith("200")
        os.kill(gateways.followers[-1], signal.SIGTERM)
        for each in lines:  # all three go down
            assert each.take_until(b"\r\n", time.monotonic() + PATIENCE).startswith(b"421")
            each.close()
        until(lambda: not any(map(runs, gateways.followers)))
        assert gateways.gateway.process.wait(PATIENCE) == 0


def test_one_that_does_not_come_up_changes_nothing(tmp_path: Path) -> None:
    with house(tmp_path) as gateways:
        line = gateways.client()
        (tmp_path / "headrace.toml").write_text("[nonsense]\n")
        gateways.gateway.process.send_signal(signal.SIGUSR2)
        gateways.gateway.wait_for("did not come up; this one goes on")
        assert said(line, "TIME")[0].startswith("200")
        assert said(gateways.client(), "TIME")[0].startswith("200")


def test_one_that_is_killed_takes_no_client_with_it(tmp_path: Path) -> None:
    with house(tmp_path) as gateways:
        line = gateways.client()
        os.kill(gateways.pass_on(), signal.SIGKILL)
        gateways.gateway.wait_for("nobody lets clients in; those here stay")
        assert said(line, "TIME")[0].startswith("200")
        line.close()
        assert gateways.gateway.process.wait(PATIENCE) == 0


def test_who_waits_for_a_call_still_gets_it(tmp_path: Path) -> None:
    reserved = free_port()
    with house(tmp_path, f"[hear.{reserved}]\n") as gateways:
        old = gateways.client()
        assert said(old, f"HEAR {reserved}")[0].startswith("150")
        gateways.pass_on()
        new = gateways.client()
        assert said(new, f"HEAR {reserved}")[0].startswith("55")  # it is not free yet
        caller = gateways.caller(reserved)
        old.take_until(b"127.0.0.1", time.monotonic() + PATIENCE)
        caller.say(b"hello\n")
        old.take_until(b"hello\r\n", time.monotonic() + PATIENCE)
        caller.hang_up()
        old.take_until(b"226 00000 000 ..\r\n", time.monotonic() + PATIENCE)
        until(lambda: said(new, f"HEAR {reserved}")[0].startswith("150"))
        caller = gateways.caller(reserved)
        new.take_until(b"127.0.0.1", time.monotonic() + PATIENCE)
        caller.hang_up()
        old.close()
        assert gateways.gateway.process.wait(PATIENCE) == 0


def test_shares_of_a_day_go_on(tmp_path: Path) -> None:
    text = 'rights = "guests"\n[rights.guests]\nrequests = 6\nsources = []\n'
    with house(tmp_path, text) as gateways:
        old = gateways.client()
        for _ in range(2):
            assert said(old, "TIME")[0].startswith("200")
        gateways.pass_on()
        for _ in range(2):
            assert said(old, "TIME")[0].startswith("200")
        old.close()
        assert gateways.gateway.process.wait(PATIENCE) == 0
        new = gateways.client()
        assert [said(new, "TIME")[0][:3] for _ in range(3)] == ["200", "200", "429"]


def test_a_device_is_left_to_who_talks_on_it(tmp_path: Path, machine: Machine) -> None:
    with house(tmp_path, f'[[listen]]\ndevice = "{machine.link}"\n') as gateways:

        def answer(request: bytes) -> bytes:
            machine.say(request + b"\r")
            return machine.got(3)

        until(lambda: b"200" in asked(machine))
        gateways.pass_on()
        until(lambda: machine.take() == b"")
        assert answer(b"BASE") == b"200"
        assert gateways.gateway.process.poll() is None
        until(lambda: machine.take() == b"")
        assert answer(b"BYE") == b"221"
        assert gateways.gateway.process.wait(PATIENCE) == 0
        machine.take()
        until(lambda: b"200" in asked(machine))


def test_a_device_on_which_nobody_has_talked_is_let_go(tmp_path: Path, machine: Machine) -> None:
    with house(tmp_path, f'[[listen]]\ndevice = "{machine.link}"\n') as gateways:
        gateways.pass_on()
        assert gateways.gateway.process.wait(PATIENCE) == 0
        until(lambda: b"200" in asked(machine))


def test_a_transfer_that_goes_on_is_finished_where_it_was_begun(
    tmp_path: Path, httpserver: HTTPServer
) -> None:
    """Its client is gone, and the process with the transfer stays, longer than `wait`, until it is done."""
    (tmp_path / "shelf").mkdir()
    answered = threading.Event()

    def slowly(_: Request) -> Response:
        def body() -> Iterator[bytes]:
            yield b"x" * 400
            answered.wait(PATIENCE)
            yield b"x" * 600

        return Response(body(), headers={"Content-Length": "1000"})

    httpserver.expect_request("/long.txt").respond_with_handler(slowly)
    text = f'[gateway]\nwait = 3\n[place.far]\nbase = "{httpserver.url_for("/")}"\n'
    text += f'[place.shelf]\nbase = "file://{tmp_path}/shelf/"\nwrite = true\n'
    with house(tmp_path, text) as gateways:
        old = gateways.client()
        assert said(old, "COPY far:long.txt shelf:long.txt")[0].startswith("150")
        gateways.pass_on()
        old.close()
        with pytest.raises(subprocess.TimeoutExpired):  # longer than `wait`, and than who waits for it
            gateways.gateway.process.wait(5)
        answered.set()
        assert gateways.gateway.process.wait(PATIENCE) == 0
        assert (tmp_path / "shelf" / "long.txt").read_bytes() == b"x" * 1_000


def test_the_page_stays_at_its_port(tmp_path: Path) -> None:
    metrics = free_port()
    with house(tmp_path, f"[gateway]\nmetrics = {metrics}\n") as gateways:
        line = gateways.client()
        gateways.pass_on()
        for path in ("health", "ready"):
            with socket.create_connection(("127.0.0.1", metrics), timeout=PATIENCE) as asked:
                asked.sendall(f"GET /{path} HTTP/1.0\r\n\r\n".encode())
                assert asked.makefile("rb").read().endswith(b"\r\n\r\n%s\n" % path.encode())
        assert said(line, "TIME")[0].startswith("200")


@pytest.mark.parametrize("option", ["--record", "--trace"])
def test_a_recording_is_written_by_one_only(tmp_path: Path, option: str) -> None:
    with house(tmp_path, "", option, "hall") as gateways:
        gateways.gateway.process.send_signal(signal.SIGUSR2)
        gateways.gateway.wait_for("while it records or traces, no other one can go on")
        assert said(gateways.client(), "TIME")[0].startswith("200")


def test_another_one_still(tmp_path: Path) -> None:
    """Who is followed already has nothing more to hand over."""
    with house(tmp_path) as gateways:
        line = gateways.client()
        gateways.pass_on()
        gateways.gateway.process.send_signal(signal.SIGUSR2)
        gateways.gateway.wait_for("another one follows already")
        assert said(line, "TIME")[0].startswith("200")


async def test_one_that_says_nothing_is_not_ready(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "FOLLOW_SECONDS", 0.05)
    ours, theirs = socket.socketpair()
    with theirs:
        after = await tether(ours)
        assert not await is_ready(after)
        await after.aclose()
        after.say("nothing")  # which nobody hears


@pytest.mark.parametrize("said", [b'["stop", null]\n', b"no JSON\n", b""])
async def test_one_that_says_something_else_or_ends_is_not_ready(said: bytes) -> None:
    ours, theirs = socket.socketpair()
    theirs.sendall(said)
    theirs.close()
    after = await tether(ours)
    assert not await is_ready(after)
    await after.gone(PATIENCE)
    await after.aclose()


def test_how_the_program_was_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A script is found anew; what Python itself was asked to run, it is asked again."""
    script = tmp_path / "headrace"
    script.write_text("#!/bin/sh\n")
    script.chmod(0o755)
    monkeypatch.setattr(sys, "argv", [str(script), "serve", "--port", "1"])
    assert command() == [str(script), "serve", "--port", "1"]
    monkeypatch.setattr(sys, "argv", [str(tmp_path / "main.py"), "serve"])
    monkeypatch.setattr(sys, "orig_argv", ["python3", "-m", "gateway.commands.main", "serve"])
    assert command() == [sys.executable, "-m", "gateway.commands.main", "serve"]


async def test_a_program_that_is_not_there_any_more(tmp_path: Path) -> None:
    """ENOENT, and no descriptor of either end stays."""
    before = len(os.listdir("/proc/self/fd"))  # noqa: PTH208 no disk is asked
    with pytest.raises(OSError, match="No such file"):
        follow([str(tmp_path / "gone")], {}, {})
    assert len(os.listdir("/proc/self/fd")) == before  # noqa: PTH208 nor here
    reap(os.getpid())  # which is nobody's child here


class Alone:
    """A gateway that cannot be seen to end: what a hand-over needs of one, and the one that follows it."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
        catalogue = Catalogue(gateway=GatewaySettings(state=str(folder)))
        self.parts = wiring.Parts(catalogue)
        self.server = Server(catalogue, self.parts.answers, self.parts.clock, None, self.parts.accounts)
        self.ended, self.page = asyncio.Event(), Page([], list)
        manager = Manager({})
        self.handover = Handover(
            Inherited(), manager, parts=self.parts, server=self.server, page=self.page, ended=self.ended
        )
        self.ours, self.follower = socket.socketpair()
        self.follower.settimeout(PATIENCE)
        monkeypatch.setattr(handover, "follow", lambda *_: (os.getpid(), self.ours))
        monkeypatch.setattr(Server, "deserted", False)

    async def close(self) -> None:
        await self.server.stop()
        await self.handover.stop(0)
        await self.parts.aclose()
        for each in (self.ours, self.follower):
            each.close()


async def test_what_clients_have_had_is_told_now_and_then(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(limits, "ACCOUNTS_SAVED_SECONDS", 0.0)
    alone = Alone(monkeypatch, tmp_path)
    alone.follower.sendall(b'["ready", null]\n')
    await alone.handover.pass_on()
    assert alone.handover.followed
    alone.parts.accounts.charge("guest", Rights())
    told = await asyncio.to_thread(alone.follower.recv, 65_536)
    word, used = json.loads(told.splitlines()[-1])
    assert (word, used["counts"]) in [("used", {"guest": [1, 0]}), ("used", {})]
    alone.follower.sendall(b'["nothing known", null]\n["stop", null]\n')
    await asyncio.wait_for(alone.ended.wait(), PATIENCE)
    alone.follower.shutdown(socket.SHUT_RDWR)
    await asyncio.sleep(0.05)
    assert "has ended, and nobody lets clients in" not in caplog.text  # as it should: this one ends, too
    await alone.close()


async def test_a_program_that_cannot_be_started_anew(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    alone = Alone(monkeypatch, tmp_path)

    def follow(*_: object) -> None:
        raise FileNotFoundError(errno.ENOENT, "No such file or directory")

    monkeypatch.setattr(handover, "follow", follow)
    await alone.handover.pass_on()
    assert not alone.handover.followed
    assert "cannot be started anew: No such file or directory; this one goes on" in caplog.text
    await alone.close()
