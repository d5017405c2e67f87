"""Lines and what they ask for."""

import pytest

from adapters.errors import HeadraceError, NotARequest, WrongWords
from gateway.session.counter.commands import (
    Blocks,
    Command,
    Fetch,
    GoTo,
    Help,
    Leave,
    ListFolder,
    ShowText,
    Store,
    read_command,
)

X, Y = Blocks.XMODEM, Blocks.YMODEM


@pytest.mark.parametrize(
    ("line", "command"),
    [
        ("LIST", ListFolder(None)),
        ("lis docs/", ListFolder("docs/")),
        ("BASE", GoTo(None)),
        ("bas ..", GoTo("..")),
        ("TEXT #3", ShowText("#3")),
        ('Tex "my notes"', ShowText("my notes")),
        ("READ a.txt", Fetch("a.txt", Y)),
        ("rea a.txt XModem", Fetch("a.txt", X)),
        ("read ymodem ymodem", Fetch("ymodem", Y)),
        ("STORE", Store(None, Y)),
        ("store ymodem", Store(None, Y)),
        ("store a", Store("a", Y)),
        ("  sto a   xmodem ", Store("a", X)),
        ("store xmodem xmodem", Store("xmodem", X)),
        ("help", Help()),
        ("Bye", Leave()),
    ],
)
def test_commands(line: str, command: Command) -> None:
    assert read_command(line) == command


@pytest.mark.parametrize(
    ("line", "error", "sentence"),
    [
        ("LI", NotARequest, "That is no command; HELP lists them"),
        ("LISTS", NotARequest, "That is no command; HELP lists them"),
        ("ERASE a", NotARequest, "That is no command; HELP lists them"),
        ("TEXT", WrongWords, "Wanted: TEXT name"),
        ("READ", WrongWords, "Wanted: READ name [xmodem|ymodem]"),
        ("READ my notes.txt", WrongWords, 'Wanted: READ name [xmodem|ymodem]; quote blanks: "..."'),
        ("LIST a b", WrongWords, 'Wanted: LIST [folder]; quote blanks: "..."'),
        ("STORE xmodem", WrongWords, "XMODEM tells no name: STORE name xmodem"),
        ("STORE a b c", WrongWords, 'Wanted: STORE [name] [xmodem|ymodem]; quote blanks: "..."'),
        ("BYE now", WrongWords, "Wanted: BYE"),
        ('TEXT "a', WrongWords, "A quote is not closed"),
    ],
)
def test_what_is_none(line: str, error: type[HeadraceError], sentence: str) -> None:
    with pytest.raises(error) as raised:
        read_command(line)
    assert raised.value.sentence == sentence
