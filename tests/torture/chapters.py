"""The main session, in chapters of a few requests each: every chapter is a connection of its own.

A step is a request, or one with what follows it: the lines of a STORE, what is said on a raw stream. Its
answer is its replies, one after the other.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from tests.torture.talk import CLOSED, Reply, Talk

RAW: Final = "raw"
"""In place of a code: what came through a stream."""
Does = Callable[[Talk], list[Reply]]


@dataclass(frozen=True, slots=True)
class Step:
    """`varies`: its records are not the same each time. `changes`: documents in places, if it goes well.
    `breaks`: a stream, which ends early in 226, too.
    """

    name: str
    does: Does
    varies: bool = False
    changes: bool = False
    breaks: bool = False


def _ask(request: str, *, varies: bool = False, changes: bool = False) -> Step:
    def does(talk: Talk) -> list[Reply]:
        return [talk.ask(request.encode() + b"\r")]

    return Step(request, does, varies, changes)


def _lines(request: str, *lines: str) -> Step:
    """STORE or APPEND by lines."""

    def does(talk: Talk) -> list[Reply]:
        first = talk.ask(request.encode() + b"\r")
        if first.code != "350":
            return [first]
        body = b"".join(b">%s\r" % line.encode() for line in lines)
        return [first, talk.ask(body + b".\r")]

    return Step(request, does, changes=True)


def _raw(request: str, data: bytes) -> Step:
    """STORE of counted bytes."""

    def does(talk: Talk) -> list[Reply]:
        first = talk.ask(b"%s %d\r" % (request.encode(), len(data)))
        return [first, talk.ask(data)] if first.code == "350" else [first]

    return Step(request, does, changes=True)


def _given_up(request: str) -> Step:
    """A STORE that is abandoned by CAN: 503, and nothing is changed."""

    def does(talk: Talk) -> list[Reply]:
        first = talk.ask(request.encode() + b"\r")
        return [first, talk.ask(b">a line\r\x18")] if first.code == "350" else [first]

    return Step(f"{request} CAN", does)


def _call(request: str, *said: tuple[bytes, bytes]) -> Step:
    """A raw stream: what is waited for and what is said then, until the far end hangs up."""

    def does(talk: Talk) -> list[Reply]:
        first = talk.ask(request.encode() + b"\r")
        if first.code != "200":
            return [first]
        for awaited, data in said:
            if not talk.until(awaited):
                break
            talk.send(data)
        through, last = talk.after_call()
        return [first, Reply(RAW, (through.decode("latin-1"),)), last]

    return Step(request, does, breaks=True)


def _by_lines(request: str, *lines: str) -> Step:
    """A stream as records."""

    def does(talk: Talk) -> list[Reply]:
        replies = [talk.ask(request.encode() + b"\r")]
        for line in lines:
            if replies[-1].code != "200":
                break
            replies.append(talk.ask(line.encode() + b"\r"))
        return replies

    return Step(request, does, breaks=True)


_BYE: Final = _ask("BYE")


def _place(name: str) -> Sequence[Step]:
    return (
        _ask(f"BASE {name}:"),
        _ask("LIST"),
        _ask("NAME #1"),
        _ask("TEXT notice.txt"),
        _ask("READ notice.txt"),
        _ask("READ notice.txt 4 8"),
        _ask("PICK notice.txt -"),
        _BYE,
    )


def _changed(name: str) -> Sequence[Step]:
    return (
        _ask(f"BASE {name}:"),
        _lines("STORE new.txt", "one", "two"),
        _raw("STORE notice.txt", b"raw \x00\xff bytes"),
        _given_up("STORE log.txt"),
        _lines("APPEND log.txt", "second"),
        _ask("READ log.txt"),
        _BYE,
    )


def _moved(name: str) -> Sequence[Step]:
    return (
        _ask(f"BASE {name}:"),
        _ask("COPY notice.txt copy.txt", changes=True),
        _ask("RENAME old.txt moved.txt", changes=True),
        _ask("ERASE log.txt", changes=True),
        _ask("MKDIR folder", changes=True),
        _ask("ERASE log.txt"),
        _BYE,
    )


CHAPTERS: Final[Mapping[str, Sequence[Step]]] = MappingProxyType(
    {
        "hello": (
            _ask("HELP"),
            _ask("SET cols=32 page=2"),
            _ask("SET"),
            _ask("SOURCES"),
            _ask("MORE"),
            _ask("LAYOUT tides"),
            _ask("TIME", varies=True),
            _ask("NOOP there"),
            _ask("NONSENSE"),
            _BYE,
        ),
        "member": (
            _ask("LOGIN keeper wrong"),
            _ask("LOGIN keeper invented"),
            _ask("SOURCES"),
            _ask("LOGIN"),
            _BYE,
        ),
        "json": (
            _ask("ASK tides"),
            _ask("ASK  tides"),
            _ask("SET page=2"),
            _ask("ASK tides "),
            _ask("MORE"),
            _ask("AGAIN"),
            _ask("WHY", varies=True),
            _ask("ASK fresh"),
            _ask("PICK web:tides.json $.events[*] $.when:20"),
            _ask("TELL post word"),
            _BYE,
        ),
        "xml": (_ask("ASK rates"), _ask("ASK rates "), _ask("WHY", varies=True), _BYE),
        "page": (
            _ask("TEXT web:page.html"),
            _ask("TEXT web:moved flow"),
            _ask("READ web:page.html 0 16"),
            _ask("READ web:nothing.html"),
            _ask("COPY web:page.html shelf:page.html", changes=True),
            _BYE,
        ),
        "large": (_ask("ASK large"), _ask("TEXT web:large.json"), _BYE),
        "quay": _place("quay"),
        "quay changed": _changed("quay"),
        "quay moved": _moved("quay"),
        "ledger": _place("ledger"),
        "ledger changed": _changed("ledger"),
        "ledger moved": _moved("ledger"),
        "shelf": _place("shelf"),
        "shelf changed": _changed("shelf"),
        "shelf moved": _moved("shelf"),
        "across": (
            _ask("COPY quay:notice.txt ledger:one.txt", changes=True),
            _ask("COPY ledger:notice.txt shelf:two.txt", changes=True),
            _ask("COPY shelf:notice.txt quay:three.txt", changes=True),
            _ask("RENAME quay:old.txt shelf:gone.txt", changes=True),
            _BYE,
        ),
        "streams": (
            _call("TALK board:", (b"name: ", b"keeper\r\n"), (b"next: ", b"bye\r\n")),
            _call("TALK phone:", (b"name: ", b"keeper\r\n"), (b"next: ", b"bye\r\n")),
            _by_lines("TALK board: lines", "", ">keeper", "."),
            _BYE,
        ),
    }
)


def all_closed(replies: Sequence[Reply]) -> bool:
    """Whether the connection is no more."""
    return bool(replies) and replies[-1] == CLOSED
