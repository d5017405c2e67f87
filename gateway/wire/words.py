"""line -> Request: a word that says what, and the words that say which (CONTRACT sections 1 and 3)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from adapters.errors import NotARequest, WrongWords


@dataclass(frozen=True, slots=True)
class RequestWord:
    """One request: its word, the words it takes, and what it does."""

    name: str
    usage: str
    meaning: str


_TABLE = (
    RequestWord("ASK", "source [arg ...]", "Fetch, pick, lay out: the source's records"),
    RequestWord("TELL", "source [arg ...]", "The same for a source that changes something"),
    RequestWord("PICK", "ref rows [path[:width[kind]] ...]", "An ad-hoc source, one record a row"),
    RequestWord("LAYOUT", "source", "A source's fields: name, start, width, kind"),
    RequestWord("SOURCES", "", "The sources: name, record width, about"),
    RequestWord("MORE", "", "The next page"),
    RequestWord("AGAIN", "[n]", "The last page, or its record n, once more"),
    RequestWord("WHY", "", "The last reply explained"),
    RequestWord("BASE", "[ref]", "Set or clear the base of later refs"),
    RequestWord("LIST", "[ref]", "The entries of a folder"),
    RequestWord("NAME", "#n", "The whole ref of an entry"),
    RequestWord("TEXT", "ref [flow]", "A document as wrapped plain text"),
    RequestWord("READ", "ref [offset [count]], or ref Bn", "Bytes of a document, or its block n"),
    RequestWord("STORE", "ref [count]", "Write a document whole"),
    RequestWord("APPEND", "ref [count]", "Write at the end of a document"),
    RequestWord("COPY", "ref ref", "Copy between any two places"),
    RequestWord("ERASE", "ref", "Remove a document"),
    RequestWord("RENAME", "ref ref", "Give a document another name"),
    RequestWord("MKDIR", "ref", "Make a folder"),
    RequestWord("TALK", "ref [lines]", "A raw stream out"),
    RequestWord("HEAR", "port [lines|who|refuse]", "One call in"),
    RequestWord("HALT", "", "Give up the rest of a windowed reply"),
    RequestWord("SET", "[name] [key=value ...]", "Take a profile, change settings, or show them"),
    RequestWord("LOGIN", "[member secret]", "Say who is asking; alone, log out"),
    RequestWord("TIME", "[zone]", "Date, time, weekday 1-7 and offset"),
    RequestWord("NOOP", "[word]", "Answers the word"),
    RequestWord("HELP", "[word]", "The requests, or one of them"),
    RequestWord("BYE", "", "Ends the connection"),
)

REQUESTS: Final[Mapping[str, RequestWord]] = MappingProxyType({each.name: each for each in _TABLE})
_BY_START: Final[Mapping[str, RequestWord]] = {each.name[:3]: each for each in _TABLE}


@dataclass(frozen=True, slots=True)
class Request:
    """A request's full word in upper case, and its words as typed, quotes resolved."""

    name: str
    words: tuple[str, ...]


def request_word(typed: str) -> RequestWord:
    """The request that `typed` names, whole or cut to three letters or more; NotARequest for none."""
    upper = typed.upper()
    found = _BY_START.get(upper[:3])
    if found is None or len(upper) < 3 or not found.name.startswith(upper):
        raise NotARequest("Not a request; HELP lists them")
    return found


def without_prompt(line: str) -> str:
    """The line without the `? ` that some BASICs send first."""
    return line[2:] if line.startswith("? ") else line


def parse_request(line: str) -> Request:
    """A whole, non-empty line, its prompt already off. NotARequest or WrongWords say what is wrong."""
    if line.lstrip(" ")[:1] in {"'", '"'}:
        start, *words = split_words(line)
        return Request(request_word(start).name, tuple(words))
    start, _, rest = line.strip(" ").partition(" ")
    return Request(request_word(start).name, split_words(rest))


def split_words(text: str) -> tuple[str, ...]:
    """Words between blanks; a quote opens only at a word's start and, doubled, stands for itself."""
    words: list[str] = []
    position = 0
    while position < len(text):
        if text[position] == " ":
            position += 1
        elif text[position] in "\"'":
            word, position = _quoted(text, position)
            words.append(word)
        else:
            end = text.find(" ", position)
            end = len(text) if end < 0 else end
            words.append(text[position:end])
            position = end
    return tuple(words)


def join_words(words: Sequence[str]) -> str:
    """The line that `split_words` makes these words of."""
    return " ".join(_as_typed(word) for word in words)


def _as_typed(word: str) -> str:
    if word and word[0] not in "\"'" and " " not in word:
        return word
    return '"' + word.replace('"', '""') + '"'


def _quoted(text: str, start: int) -> tuple[str, int]:
    quote, word, position = text[start], "", start + 1
    while True:
        end = text.find(quote, position)
        if end < 0:
            raise WrongWords("A quote is not closed")
        word += text[position:end]
        if text[end + 1 : end + 2] != quote:
            break
        word += quote
        position = end + 2
    if text[end + 1 : end + 2] not in {"", " "}:
        raise WrongWords("A blank must follow a closing quote")
    return word, end + 1
