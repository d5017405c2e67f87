"""What a person at a terminal does with the bird club."""

from tests.clients.terminals.club import NAME, PAGE, PASSWORD
from tests.clients.terminals.screen import Screen


def log_in(screen: Screen) -> None:
    """A guess, then the right password, then the page, every line of it."""
    screen.wait_for_prompt("Name:")
    screen.type(f"{NAME}\r")
    screen.wait_for_prompt("Password:")
    screen.type("guess\r")
    screen.wait_for("Not known here", "Name:")
    screen.type(f"{NAME}\r")
    screen.wait_for_prompt("Password:")
    screen.type(f"{PASSWORD}\r")
    screen.wait_for_prompt("PAGE or BYE?")
    screen.type("page\r")
    screen.wait_for("PAGE or BYE? page", *PAGE, "PAGE or BYE?")
