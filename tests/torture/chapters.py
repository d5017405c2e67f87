"""The main session, in chapters of a few requests each: every chapter is a connection of its own.

A step is a request, or one with what follows it: the lines of a STORE, what is said on a raw stream. Its
answer is its replies, one after the other.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from tests.torture.caller import BUSY, GREETED, Caller
from tests.torture.ground import WAIT
from tests.torture.talk import CLOSED, Reply, Talk

RAW: Final = "raw"
"""In place of a code: what came through a stream."""
_RINGS: Final = 2.5 * WAIT / 4  # seconds for a call to come through: accept(2) is tried again after one
_GUARD: Final = 0.3 * WAIT / 4  # seconds of silence, which are enough to leave a raw stream here
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


def _left(request: str, data: bytes, awaited: bytes) -> Step:
    """A raw stream without an end of its own, which is left."""

    def does(talk: Talk) -> list[Reply]:
        first = talk.ask(request.encode() + b"\r")
        if first.code != "200":
            return [first]
        talk.send(data)
        came = talk.until(awaited)
        if came and talk.still(_GUARD):
            talk.send(b"+++")
        through, last = talk.after_call()
        if not came and talk.comes(_GUARD):
            talk.reply()  # the stream had ended before the data was there, which was then taken for a request
        return [first, Reply(RAW, (through.decode("latin-1"),)), last]

    return Step(f"{request} +++", does, breaks=True)


def _taken(talk: Talk, word: bytes) -> list[Reply]:
    """HEAR, and what it says when somebody calls; 503 where the wait is given up since nobody came."""
    first = talk.ask(b"HEAR %d%s\r" % (talk.hear, word))
    if first.code != "150":
        return [first]
    return [first, talk.reply() if talk.comes(_RINGS) else talk.ask(b"NOOP\r")]


def _hear(talk: Talk) -> list[Reply]:
    """A call in that is waited for, and another one that finds the port busy."""
    first = talk.ask(b"HEAR %d\r" % talk.hear)
    if first.code != "150":
        return [first]
    with Caller(talk.hear) as caller:
        caller.say(b"hello\n")
        replies = [first, talk.reply() if talk.comes(_RINGS) else talk.ask(b"NOOP\r")]
        if replies[-1].code != "200":
            return replies
        with Caller(talk.hear) as other:
            other.ends(BUSY)
        if talk.until(b"hello"):
            talk.send(b"good day\r")
            caller.hears(GREETED + b"good day\r\n")
        caller.hang_up()
        through, last = talk.after_call()
        return [*replies, Reply(RAW, (through.decode("latin-1"),)), last]


def _hear_lines(talk: Talk) -> list[Reply]:
    """A call that waits already, by lines."""
    with Caller(talk.hear) as caller:
        caller.hears(GREETED)
        replies = _taken(talk, b" lines")
        caller.say(b"who is there\n")
        for line in (b">me\r", b".\r"):
            if replies[-1].code != "200":
                break
            replies.append(talk.ask(line))
        return replies


def _refuse(talk: Talk) -> list[Reply]:
    """Who waits is asked for, and turned away."""
    with Caller(talk.hear) as caller:
        caller.hears(GREETED)
        replies = [talk.ask(b"HEAR %d %s\r" % (talk.hear, word)) for word in (b"who", b"refuse")]
        caller.ends(GREETED + BUSY)
        return replies


def _hear_no_more(talk: Talk) -> list[Reply]:
    """A wait that is given up: 503."""
    first = talk.ask(b"HEAR %d\r" % talk.hear)
    return [first, talk.ask(b"NOOP\r")] if first.code == "150" else [first]


def _plugged(request: str) -> Step:
    """A line that is taken away and comes back."""

    def does(talk: Talk) -> list[Reply]:
        talk.plug()
        return [talk.ask(request.encode() + b"\r")]

    return Step(f"plug {request}", does)


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
        "dock": _place("dock"),
        "dock changed": _changed("dock"),
        "dock moved": _moved("dock"),
        "vault": _place("vault"),
        "vault changed": _changed("vault"),
        "vault moved": _moved("vault"),
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
        "messages": (
            _left("TALK buoy:", b"hello\r", b"hello"),
            _by_lines("TALK buoy: lines", ">hello", ">again", "."),
            _BYE,
        ),
        "calls in": (
            Step("HEAR", _hear, breaks=True),
            Step("HEAR lines", _hear_lines, breaks=True),
            Step("HEAR who refuse", _refuse, varies=True),
            Step("HEAR no more", _hear_no_more),
            _BYE,
        ),
        "serial": (
            _ask("NOOP there"),
            _ask("ASK tides"),
            _ask("AGAIN"),
            _lines("STORE shelf:new.txt", "one", "two"),
            _call("TALK board:", (b"name: ", b"keeper\r\n"), (b"next: ", b"bye\r\n")),
            Step("HEAR", _hear, breaks=True),
            _plugged("NOOP again"),
            _BYE,
        ),
    }
)


AT_MACHINE: Final = frozenset({"serial"})
"""Those whose client is a machine at a serial line. Where a session ends there, the next one begins with the
next request: so nothing that was SET may matter to it.
"""


def all_closed(replies: Sequence[Reply]) -> bool:
    """Whether the connection is no more."""
    return bool(replies) and replies[-1] == CLOSED
