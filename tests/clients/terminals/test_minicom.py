"""minicom, unmodified, with a modem that is ours. What is typed and shown: V.250, from memory."""

import time
from collections.abc import Iterator

import pytest

from tests.clients.terminals.conftest import House
from tests.clients.terminals.logging_in import log_in
from tests.clients.terminals.screen import PATIENCE, Screen, program
from tests.gateway.service.callers.callers import Caller


def set_up(house: House) -> None:
    """What its setup menu would save: no flow control, and no strings of its own at start and end."""
    for lock in house.home.glob("LCK*"):  # of one that was ended
        lock.unlink()
    (house.home / ".minirc.dfl").write_text(
        f"pu port             {house.modem}\npu lock             {house.home}\n"
        "pu baudrate         9600\npu rtscts           No\npu minit            \npu mreset           \n"
        f"pu downdir          {house.home}\npu updir            {house.home}\n"
    )


@pytest.fixture
def screen(house: House) -> Iterator[Screen]:
    set_up(house)
    with house.at_the_port(), Screen(["minicom"], {"HOME": str(house.home)}) as made:
        made.wait_for("Press CTRL-A Z for help on special keys")
        yield made


def test_dial_a_name_log_in_read_a_page_and_hang_up(screen: Screen) -> None:
    screen.type("AT\r")
    screen.wait_for("AT", "OK")
    screen.type("ATDTclub\r")
    screen.wait_for("ATDTclub", "CONNECT 9600", "The bird club (invented)", "Name:")
    log_in(screen)
    time.sleep(1.2)
    screen.type("+++")
    screen.wait_for("PAGE or BYE?", "OK")
    screen.type("ATH\r")
    screen.wait_for("ATH", "OK")
    screen.type("ATDTnobody\r")
    screen.wait_for("ATDTnobody", "NO CARRIER")


def test_dial_a_number_and_be_hung_up_on(screen: Screen) -> None:
    screen.type("ATZ\r")
    screen.wait_for("ATZ", "OK")
    screen.type("ATDP555-0100\r")
    log_in(screen)
    screen.type("bye\r")
    screen.wait_for("PAGE or BYE? bye", "Fly well", "", "NO CARRIER")


def test_answer_a_call(house: House, screen: Screen) -> None:
    screen.type("AT\r")
    screen.wait_for("OK")
    caller = Caller(house.reserved)
    caller.hears(b"The hide\r\n")
    screen.wait_for("RING")
    screen.type("ATA\r")
    screen.wait_for("ATA", "CONNECT 9600")
    caller.say(b"A wren is calling\r\n")
    screen.wait_for("CONNECT 9600", "A wren is calling")
    screen.type("Come in")
    caller.hears(b"Come in")
    caller.hang_up()
    screen.wait_for("NO CARRIER")


def test_fetch_and_store_a_file_with_its_menus(house: House, screen: Screen) -> None:
    """Its Y and X of the menus for receiving and sending files are rb and sx of lrzsz."""
    program("rb")
    song = bytes(range(256)) * 20 + b"the end"
    (house.folder / "shelf" / "song.bin").write_bytes(song)
    screen.type("AT\r")
    screen.wait_for("OK")
    screen.type("ATDTshelf\r")
    screen.wait_for_prompt(">")
    screen.type("READ song.bin\r")
    screen.wait_for("YMODEM: start receiving song.bin now.")
    screen.key("C-a")
    screen.type("r")
    screen.key("Down")  # below zmodem
    screen.key("Enter")
    done(screen)
    screen.wait_for_prompt(">")
    screen.wait_for("song.bin: 5127 bytes sent")
    assert (house.home / "song.bin").read_bytes() == song

    reply = b"a wren".ljust(300, b"!")
    (house.home / "reply.txt").write_bytes(reply)
    screen.type("STORE answer.txt xmodem\r")
    screen.wait_for("XMODEM: start sending answer.txt now.")
    screen.key("C-a")
    screen.type("s")
    screen.key("Down")
    screen.key("Down")
    screen.key("Enter")
    screen.key("Enter")  # no file is marked, so it asks for a name
    screen.type("reply.txt\r")
    done(screen)
    screen.wait_for_prompt(">")
    told = [each for each in screen.lines() if each.endswith("answer.txt: 384 bytes stored")]
    assert len(told) == 1, screen.lines()  # whole blocks; before it the Cs that asked for the first one
    assert (house.folder / "shelf" / "answer.txt").read_bytes() == reply.ljust(384, b"\x1a")


def done(screen: Screen) -> None:
    """Until its window about the transfer wants a key."""
    until = time.monotonic() + 3 * PATIENCE
    while not any("any key to continue" in each for each in screen.lines()):
        shown = "\n".join(screen.lines())
        assert time.monotonic() < until, shown
        time.sleep(0.1)
    screen.key("Enter")
