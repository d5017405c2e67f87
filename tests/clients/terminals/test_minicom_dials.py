"""minicom, unmodified, dials by itself: with the modem strings that it comes with, and by a script."""

from collections.abc import Iterator
from contextlib import contextmanager

from tests.clients.terminals.club import NAME, PAGE, PASSWORD
from tests.clients.terminals.conftest import House
from tests.clients.terminals.logging_in import log_in
from tests.clients.terminals.screen import Screen
from tests.clients.terminals.test_minicom import set_up

SCRIPT = f"""
send "ATDTclub"
expect {{
  "Name:"
  "NO CARRIER" exit 1
  timeout 15 exit 1
}}
send "{NAME}"
expect "Password:"
send "{PASSWORD}"
expect "BYE?"
send "page"
expect "BYE?"
print "\\r\\nThe script is done"
sleep 1
exit 0
"""
"""It stays for a second: minicom 2.8 loses what it has not yet shown when its script ends (seen here)."""

OFFERED = "~^M~AT S7=45 S0=0 L1 V1 X4 &c1 E1 Q0^M"
"""What its setup menu offers as the first string. How to dial and to hang up it knows unasked."""


@contextmanager
def minicom(house: House, *options: str) -> Iterator[Screen]:
    with house.at_the_port(), Screen(["minicom", *options], {"HOME": str(house.home)}) as screen:
        yield screen


def its_own_strings(house: House) -> None:
    """As the menu would save it. To hang up it sends a string, since there is no line to drop."""
    set_up(house)
    settings = house.home / ".minirc.dfl"
    text = settings.read_text()
    empty = "pu minit            \n"
    assert empty in text
    text = text.replace(empty, f"pu minit            {OFFERED}\n")
    settings.write_text(f"{text}pu mdropdtr         No\n")


def dial(screen: Screen, number: str) -> None:
    """Control-A D, and the last word of the menu below the directory."""
    screen.key("C-a")
    screen.type("d")
    screen.wait_for_words("moVe   Manual")
    for _ in range(6):
        screen.key("Right")
    screen.key("Enter")
    screen.wait_for_words("Enter number")
    screen.type(f"{number}\r")


def ask_again(screen: Screen) -> None:
    """An empty name and password. What minicom 2.8 reads at once with CONNECT its dialler drops (seen)."""
    screen.type("\r")
    screen.wait_for_prompt("Password:")
    screen.type("\r")
    screen.wait_for_prompt("Name:")


def test_its_own_strings(house: House) -> None:
    its_own_strings(house)
    with minicom(house) as screen:
        screen.wait_for("AT S7=45 S0=0 L1 V1 X4 &c1 E1 Q0", "OK")
        screen.type("ATS7?\r")
        screen.wait_for("ATS7?", "045", "", "OK")  # 60 if it had not been heard
        dial(screen, "nobody")
        screen.wait_for_words("No connection: NO CARRIER.")
        screen.key("Escape")
        dial(screen, "5550100")
        screen.wait_for_words("Connected. Press any key to continue")
        ended = house.told("hung up")
        screen.type(" ")
        ask_again(screen)
        log_in(screen)
        assert house.told("hung up") == ended
        screen.key("C-a")
        screen.type("h")
        screen.wait_for_words("Hang-up line?")
        screen.key("Enter")
        screen.wait_for("PAGE or BYE?", "OK", "ATH", "OK")
        assert house.told("hung up") == ended + 1


def test_a_script(house: House) -> None:
    """minicom's own runscript logs in and has the page; then it is a person's turn."""
    set_up(house)
    script = house.home / "call"
    script.write_text(SCRIPT)
    with minicom(house, "-S", str(script)) as screen:
        screen.wait_for(*PAGE, "PAGE or BYE?", "The script is done")
        screen.type("bye\r")
        screen.wait_for("Fly well", "", "NO CARRIER")
