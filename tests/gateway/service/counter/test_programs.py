"""The real programs of Debian's lrzsz at counters of a whole gateway, over a modem and over TALK."""

import binascii
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from gateway.testing.gateways import Gateway
from gateway.testing.stage import Stage
from tests.adapters.ftp_servers import SECRET, USER, ftp_server
from tests.adapters.web_servers import served_folder, wsgidav
from tests.gateway.service.counter.programs import (
    PATIENCE,
    SUB,
    TEXT,
    Job,
    Terminal,
    at_once,
    bodies,
    body,
    catalogue,
    counted,
)
from tests.gateway.wire.blocks.counterpart import needs_lrzsz

pytestmark = needs_lrzsz

lines = pytest.mark.parametrize("modem", [True, False], ids=["modem", "TALK"])


def on_disk(stage: Stage, shelf: Path, **more: object) -> Gateway:
    return stage.gateways(catalogue(f"file://{shelf}", **more), log="info")  # type: ignore[arg-type]


SOME = ("1.bin", "128.bin", "129.bin", "minutes.txt")


@lines
def test_fetching(stage: Stage, shelf: Path, mine: Path, modem: bool) -> None:
    for name, data in bodies().items():
        (shelf / name).write_bytes(data)

    def ymodem(name: str) -> Job:
        def fetch(terminal: Terminal, folder: Path) -> None:
            told = terminal.transfer(f"READ {name}", ["rb"], folder)
            assert told == [f"{name}: {counted(bodies()[name])} sent"]
            assert (folder / name).read_bytes() == bodies()[name]
            assert [each.split()[-1] for each in terminal.ask("LIST")] == sorted(bodies())

        return fetch

    def xmodem(name: str) -> Job:
        def fetch(terminal: Terminal, folder: Path) -> None:
            data = bodies()[name]
            terminal.transfer(f"READ {name} xmodem", ["rx", "x"], folder)
            assert (folder / "x").read_bytes() == data + SUB * (-len(data) % 128)

        return fetch

    jobs = [*map(ymodem, bodies()), *map(xmodem, SOME)]
    at_once(on_disk(stage, shelf), mine, modem, jobs)


@lines
def test_storing(stage: Stage, shelf: Path, mine: Path, modem: bool) -> None:
    def batch(terminal: Terminal, folder: Path) -> None:
        for name, data in bodies().items():
            (folder / name).write_bytes(data)
        told = terminal.transfer("STORE", ["sb", *bodies()], folder)
        assert told == [f"{name}: {counted(data)} stored" for name, data in bodies().items()]
        assert {name: (shelf / name).read_bytes() for name in bodies()} == bodies()
        assert terminal.ask("BASE") == ["You are in CLUB:"]

    def xmodem(name: str) -> Job:
        def store(terminal: Terminal, folder: Path) -> None:
            data = bodies()[name]
            (folder / name).write_bytes(data)
            terminal.transfer(f"STORE x-{name} xmodem", ["sx", name], folder)
            assert (shelf / f"x-{name}").read_bytes() == data + SUB * (-len(data) % 128)

        return store

    def large_blocks(terminal: Terminal, folder: Path) -> None:
        (folder / "300000.bin").write_bytes(body(300_000))
        terminal.transfer("STORE k xmodem", ["sx", "-k", "300000.bin"], folder)  # blocks of 1,024
        assert (shelf / "k").read_bytes().rstrip(SUB) == body(300_000).rstrip(SUB)

    def under_another_name(terminal: Terminal, folder: Path) -> None:
        (folder / "129.bin").write_bytes(body(129))
        terminal.transfer("STORE y", ["sb", "129.bin"], folder)
        assert (shelf / "y").read_bytes() == body(129)

    jobs = [batch, *map(xmodem, SOME), large_blocks, under_another_name]
    at_once(on_disk(stage, shelf), mine, modem, jobs)


def there_and_back(gateway: Gateway, folder: Path, mine: Path, *, modem: bool) -> None:
    (mine / "big.bin").write_bytes(body(300_000))
    (mine / "t.txt").write_bytes(TEXT)
    with Terminal(gateway, modem=modem) as terminal:
        terminal.call()
        assert terminal.transfer("STORE", ["sb", "big.bin"], mine) == ["big.bin: 300000 bytes stored"]
        terminal.transfer("STORE t.txt xmodem", ["sx", "t.txt"], mine)
        assert (folder / "big.bin").read_bytes() == body(300_000)
        assert (folder / "t.txt").read_bytes() == TEXT + SUB * (-len(TEXT) % 128)
        (mine / "big.bin").unlink()
        terminal.transfer("READ big.bin", ["rb"], mine)
        assert (mine / "big.bin").read_bytes() == body(300_000)
        assert terminal.ask("READ none xmodem") == ["Not there"]


def test_over_ftp(stage: Stage, mine: Path) -> None:
    with ftp_server("pyftpdlib") as server:
        (mine / "secret").write_text(SECRET)
        login = (f'user = "{USER}"', f'secret = "file:{mine / "secret"}"')
        gateway = stage.gateways(catalogue(server.target.root, *login))
        there_and_back(gateway, server.folder, mine, modem=True)


def test_over_webdav(stage: Stage, mine: Path) -> None:
    with served_folder() as folder, wsgidav(folder) as server:
        there_and_back(stage.gateways(catalogue(f"{server.dav_url}/")), folder, mine, modem=False)


def test_by_the_phone_book(stage: Stage, shelf: Path) -> None:
    with Terminal(on_disk(stage, shelf), modem=True) as terminal:
        assert terminal.call("5550100").startswith(b"This is CLUB.")
        terminal.type("BYE\r")
        terminal.wait_for(b"Goodbye\r\n\r\nNO CARRIER\r\n")
        terminal.type("AT\r")
        terminal.wait_for(b"\r\nOK\r\n")


@contextmanager
def half_way(terminal: Terminal, line: str, data: bytes) -> Iterator[None]:
    """A sender of our own that stops in the middle of a document, some blocks of 128 in."""
    terminal.starts(line)
    terminal.wait_for(b"C")
    for number in range(1, 5):
        block = data[(number - 1) * 128 : number * 128]
        check = binascii.crc_hqx(block, 0).to_bytes(2, "big")
        terminal.type(bytes([1, number, 255 - number]) + block + check)
        assert terminal.wait_for(b"\x06").endswith(b"\x06")
    yield


def nothing_stored(shelf: Path, gateway: Gateway, seconds: float = 8.0) -> None:
    """Neither the document, nor anything beside it, nor anything in the spool.

    A client's half-close over TALK may only mean that it waits for an answer: STREAM_CLOSE_SECONDS.
    """
    until, spool = time.monotonic() + seconds, Path(gateway.catalogue.gateway.state) / "spool"
    assert spool.is_dir()
    while list(spool.glob("*.data")) and time.monotonic() < until:
        time.sleep(0.05)
    assert list(spool.glob("[0-9]*")) == []
    assert list(shelf.iterdir()) == []


@lines
@pytest.mark.parametrize("how", ["drop", "plus"])
def test_a_line_that_ends_in_the_middle_stores_nothing(
    stage: Stage, shelf: Path, modem: bool, how: str
) -> None:
    gateway = on_disk(stage, shelf)
    terminal = Terminal(gateway, modem=modem)
    terminal.call()
    with half_way(terminal, "STORE a xmodem", body(1_024)):
        if how == "drop":
            terminal.line.close()
        else:
            time.sleep(1.1)
            terminal.type("+++")
            terminal.wait_for(b"OK\r\n" if modem else b"226 00000 000 ..\r\n")
            terminal.type("ATH\r" if modem else "WHY\r")
            terminal.wait_for(b"OK\r\n" if modem else b"by you")
            terminal.line.close()
    nothing_stored(shelf, gateway)


@lines
def test_giving_up_in_the_middle_and_going_on(stage: Stage, shelf: Path, mine: Path, modem: bool) -> None:
    with Terminal(on_disk(stage, shelf), modem=modem) as terminal:
        terminal.call()
        with half_way(terminal, "STORE a xmodem", body(1_024)):
            terminal.type(b"\x18\x18")
        assert " ".join(terminal.answer()) == "a was not stored. The sender gave up"
        assert list(shelf.iterdir()) == []
        (shelf / "b").write_bytes(body(1_024))
        terminal.starts("READ b")
        terminal.type(b"C")
        terminal.wait_for(b"b\x00")
        terminal.type(b"\x18\x18")
        told = terminal.answer()
        assert " ".join(told)[-41:] == "b was not sent whole. The receiver gave up"[-41:]
        terminal.transfer("READ b", ["rb"], mine)
        assert (mine / "b").read_bytes() == body(1_024)


@lines
def test_a_program_that_is_ended_in_the_middle(stage: Stage, shelf: Path, mine: Path, modem: bool) -> None:
    """lrzsz itself, interrupted: it says so with CANs of its own."""
    (mine / "big.bin").write_bytes(body(300_000) * 20)
    gateway = on_disk(stage, shelf)
    with Terminal(gateway, modem=modem) as terminal:
        terminal.call()
        terminal.starts("STORE big.bin")
        with terminal.started(["sb", "big.bin"], mine) as running:
            time.sleep(0.5)
            assert running.poll() is None, "too quick to be interrupted"
            running.terminate()
            running.wait(PATIENCE)
        told = terminal.wait_for(b"> ")
        assert b"was not stored. The sender gave up" in told.replace(b"\r\n", b" ")
        nothing_stored(shelf, gateway)
        assert terminal.ask("BASE") == ["You are in CLUB:"]


@lines
@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ("READ nope", "Not there"),
        ("READ docs", "That is a folder"),
        ("STORE docs", "That is a folder"),
        ("STORE ../../up/x", "No such folder there"),
        ("READ ..%2Fx", "A ref may not leave its place"),
    ],
)
def test_wrong_names(stage: Stage, shelf: Path, modem: bool, line: str, sentence: str) -> None:
    (shelf / "docs").mkdir()
    with Terminal(on_disk(stage, shelf), modem=modem) as terminal:
        terminal.call()
        assert terminal.ask(line) == [sentence]
        assert terminal.ask("BASE") == ["You are in CLUB:"]


def test_only_for_reading(stage: Stage, shelf: Path) -> None:
    with Terminal(on_disk(stage, shelf, write=False), modem=True) as terminal:
        terminal.call()
        assert terminal.ask("STORE x xmodem") == ["CLUB is for reading only"]


@lines
@pytest.mark.parametrize("setting", ["bits = 7", 'flow = "xon"'])
def test_lines_that_are_not_clean(stage: Stage, shelf: Path, modem: bool, setting: str) -> None:
    (shelf / "a").write_bytes(b"abc")
    with Terminal(on_disk(stage, shelf, profile=setting), modem=modem) as terminal:
        terminal.call()
        for line in ("READ a", "STORE b"):
            assert " ".join(terminal.ask(line)).startswith("This line ")
        assert terminal.ask("TEXT a") == ["abc"]


def test_a_pace_keeps_blocks_whole(stage: Stage, shelf: Path, mine: Path) -> None:
    """2,000 characters a second: 8,192 bytes take four seconds and more, and none goes twice."""
    (shelf / "a").write_bytes(body(8_192))
    (mine / "b").write_bytes(body(2_048))
    gateway = on_disk(stage, shelf, profile="pace = 2000")
    with Terminal(gateway, modem=True) as terminal:
        terminal.call()
        began = time.monotonic()
        terminal.transfer("READ a", ["rb"], mine)
        assert (mine / "a").read_bytes() == body(8_192)
        assert time.monotonic() - began > 8_192 / 2_000
        terminal.transfer("STORE b", ["sb", "b"], mine)
        assert (shelf / "b").read_bytes() == body(2_048)


@lines
def test_one_block_at_a_time_at_a_pace(stage: Stage, shelf: Path, modem: bool) -> None:
    """A block takes a third of a second; the next one waits for its answer, and nothing is said twice."""
    (shelf / "a").write_bytes(body(2_048))
    with Terminal(on_disk(stage, shelf, profile="pace = 400"), modem=modem) as terminal:
        terminal.call()
        terminal.starts("READ a xmodem")
        terminal.type(b"C")
        for number in (1, 2):
            part = body(2_048)[(number - 1) * 128 : number * 128]
            check = binascii.crc_hqx(part, 0).to_bytes(2, "big")
            block = bytes([1, number, 255 - number]) + part + check
            assert terminal.wait_for(block) == block
            assert terminal.quiet(1.0)
            terminal.type(b"\x06")


def test_a_long_text_waits_for_a_slow_line(stage: Stage, shelf: Path) -> None:
    """It is read on a line that takes nothing for a while, and CAN stops it."""
    (shelf / "long.txt").write_text("\n".join(f"line {number}" for number in range(100_000)))
    with Terminal(on_disk(stage, shelf), modem=False) as terminal:
        terminal.call()
        terminal.type("TEXT long.txt\r")
        terminal.wait_for(b"line 1000\r\n")
        time.sleep(0.5)
        terminal.type(b"\x18")
        told = terminal.wait_for(b"\r\n\r\n> ", 30)
        assert told.count(b"\n") < 99_000
        assert terminal.ask("BASE") == ["You are in CLUB:"]


@lines
def test_the_log_and_why_count_bytes(stage: Stage, shelf: Path, modem: bool) -> None:
    gateway = on_disk(stage, shelf)
    with Terminal(gateway, modem=modem) as terminal:
        first = terminal.call()
        terminal.type("BYE\r")
        terminal.wait_for(b"NO CARRIER\r\n" if modem else b"226 00000 000 ..\r\n")
        heard = len(first) + len(b"BYE\r\nGoodbye\r\n")
        deadline = time.monotonic() + 2
        while not any(f"sent=4 heard={heard}" in each for each in gateway.log):
            assert time.monotonic() < deadline, gateway.log[-3:]
            time.sleep(0.02)
        if not modem:
            terminal.type("WHY\r")
            terminal.wait_for(f"HEARD    {heard} bytes".encode())


def test_the_clients_own_line_ends_and_echo_over_talk(stage: Stage, shelf: Path) -> None:
    """A request listener's client has said what it wants; a program that dials gets CR LF and an echo."""
    (shelf / "a").write_bytes(b"abc")
    with Terminal(on_disk(stage, shelf), modem=False) as terminal:
        terminal.type("SET eol=cr echo=off\r")
        terminal.wait_for(b"200 00000 000 ..\r")
        terminal.type("TALK club:\r")
        terminal.wait_for(b"200 00000 000 ..\r")
        assert terminal.wait_for(b"> ") == b"This is CLUB. You can read and store\rhere; HELP tells how.\r> "
        terminal.type("TEXT a\r")
        assert terminal.wait_for(b"> ") == b"abc\r> "
    with Terminal(on_disk(stage, shelf, profile='eol = "cr"'), modem=True) as terminal:
        assert b"\r\nhere;" in terminal.call()


def test_a_stopping_gateway_lets_go(stage: Stage, shelf: Path) -> None:
    gateway = on_disk(stage, shelf)
    with Terminal(gateway, modem=False) as terminal:
        terminal.call()
        with half_way(terminal, "STORE a xmodem", body(1_024)):
            gateway.stop()
        nothing_stored(shelf, gateway)


def test_offline_from_a_recording(stage: Stage, mine: Path) -> None:
    """LIST and READ at a counter are recorded, and had again without the far server."""
    (mine / "secret").write_text(SECRET)
    login = (f'user = "{USER}"', f'secret = "file:{mine / "secret"}"')
    site = stage.sites(record=True)
    with ftp_server("pyftpdlib") as server:
        (server.folder / "a.bin").write_bytes(body(300_000))
        text = catalogue(server.target.root, *login)
        gateway = stage.gateways(text, site=site)
        with Terminal(gateway, modem=False) as terminal:
            terminal.call()
            listed = terminal.ask("LIST")
            terminal.transfer("READ a.bin", ["rb"], mine)
        gateway.stop()
    (mine / "a.bin").unlink()
    with Terminal(stage.gateways(text, site=stage.sites(site.path)), modem=False) as terminal:
        terminal.call()
        assert terminal.ask("LIST") == listed
        terminal.transfer("READ a.bin", ["rb"], mine)
        assert (mine / "a.bin").read_bytes() == body(300_000)
        assert " ".join(terminal.ask("READ b.bin")) == "Offline: nothing recorded for that"


def test_the_readmes_call(stage: Stage, shelf: Path, mine: Path) -> None:
    """Every line of it, in its order, with lrzsz as the old machine's program."""
    text = (Path(__file__).parents[4] / "README.md").read_text(encoding="utf-8")
    found = re.search(r"<!-- counter -->\n```text\n(.*?)```", text, re.DOTALL)
    assert found is not None
    shown = found[1].replace("\n", "\r\n").encode()
    (shelf / "letters").mkdir()
    (shelf / "MINUTES.TXT").write_bytes(b"x" * 166)
    for each in (shelf / "MINUTES.TXT", shelf / "letters"):
        os.utime(each, (1_779_019_200, 1_779_019_200))  # noon of 17 May 2026, UTC
    (mine / "reply.txt").write_bytes(b"Agreed.\r\n")
    programs = {b"READ #2": ["rb"], b"STORE reply.txt xmodem": ["sx", "reply.txt"]}
    with Terminal(on_disk(stage, shelf), modem=True) as terminal:
        heard = b""
        for line in re.findall(rb"^(?:> )?((?:ATDT|LIST|READ|BASE|STORE|BYE).*?)\r$", shown, re.MULTILINE):
            terminal.type(line + b"\r")
            heard += terminal.wait_for(line + b"\r")
            heard += terminal.wait_for(b"\n") if heard.endswith(b"ATDTclub\r\r") else b""
            if line in programs:
                heard += terminal.wait_for(b"gives up.\r\n")
                assert terminal.run(programs[line], mine) == 0
            heard += terminal.wait_for(b"NO CARRIER\r\n" if line == b"BYE" else b"> ")
        assert heard.replace(b"ATDTclub\r\r\n", b"ATDTclub\r\n") == shown
    assert (mine / "minutes.txt").read_bytes() == b"x" * 166  # this program has small letters for capitals
    assert (shelf / "letters" / "reply.txt").read_bytes() == b"Agreed.\r\n".ljust(128, SUB)
