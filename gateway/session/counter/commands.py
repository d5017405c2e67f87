"""line -> Command: what a client at the counter asks for. The words are those of requests, cut likewise."""

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

from adapters.errors import NotARequest, WrongWords
from gateway.wire.words import split_words


class Blocks(Enum):
    """How a document goes over the line."""

    XMODEM = "XMODEM"
    YMODEM = "YMODEM"


@dataclass(frozen=True, slots=True)
class ListFolder:
    """What is in a folder; None: in the one that the client is in."""

    folder: str | None


@dataclass(frozen=True, slots=True)
class GoTo:
    """Be in another folder from now on; None: in the place itself."""

    folder: str | None


@dataclass(frozen=True, slots=True)
class ShowText:
    """A document as text."""

    name: str


@dataclass(frozen=True, slots=True)
class Fetch:
    """A document, sent to the client in blocks."""

    name: str
    blocks: Blocks


@dataclass(frozen=True, slots=True)
class Store:
    """What the client sends in blocks; None: under the names that come with it."""

    name: str | None
    blocks: Blocks


@dataclass(frozen=True, slots=True)
class Help:
    """What can be said."""


@dataclass(frozen=True, slots=True)
class Leave:
    """The end of the call."""


Command: TypeAlias = ListFolder | GoTo | ShowText | Fetch | Store | Help | Leave

USAGE: Final = {
    "LIST": "LIST [folder]",
    "BASE": "BASE [folder]",
    "TEXT": "TEXT name",
    "READ": "READ name [xmodem|ymodem]",
    "STORE": "STORE [name] [xmodem|ymodem]",
    "HELP": "HELP",
    "BYE": "BYE",
}
_MOST: Final = {"LIST": 1, "BASE": 1, "TEXT": 1, "READ": 2, "STORE": 2, "HELP": 0, "BYE": 0}
_NAMED: Final = frozenset({"TEXT", "READ"})


def read_command(text: str) -> Command:
    """A line that is not empty. NotARequest: no command; WrongWords: what it does not take."""
    first, _, rest = text.strip(" ").partition(" ")
    word, words = _word(first), split_words(rest)
    if len(words) > _MOST[word] or (word in _NAMED and not words):
        raise _wanted(word, blanks=len(words) > _MOST[word] > 0)
    name = words[0] if words else None
    match word:
        case "LIST":
            return ListFolder(name)
        case "BASE":
            return GoTo(name)
        case "TEXT":
            return ShowText(words[0])
        case "READ":
            return Fetch(words[0], _blocks(word, words[1:]))
        case "STORE":
            return _store(words)
        case "HELP":
            return Help()
        case _:
            return Leave()


def _word(typed: str) -> str:
    """The command's whole word; as in requests three letters are enough."""
    upper = typed.upper()
    found = next((each for each in USAGE if len(upper) >= 3 and each.startswith(upper)), None)
    if found is None:
        raise NotARequest("That is no command; HELP lists them")
    return found


def _store(words: tuple[str, ...]) -> Store:
    """One word that names a protocol is that, and no document's name."""
    if len(words) == 1 and words[0].upper() in Blocks.__members__:
        words = ("", *words)
    blocks = _blocks("STORE", words[1:])
    name = words[0] if words and words[0] else None
    if name is None and blocks is Blocks.XMODEM:
        raise WrongWords("XMODEM tells no name: STORE name xmodem")
    return Store(name, blocks)


def _blocks(word: str, words: tuple[str, ...]) -> Blocks:
    if not words:
        return Blocks.YMODEM
    try:
        return Blocks[words[0].upper()]
    except KeyError as error:
        raise _wanted(word, blanks=True) from error


def _wanted(word: str, *, blanks: bool) -> WrongWords:
    """What should have been typed. `blanks`: most often a name with blanks was not quoted."""
    return WrongWords(f"Wanted: {USAGE[word]}" + ('; quote blanks: "..."' if blanks else ""))
