"""Request lines, through a whole session: any bytes, cut in any way, with every wish granted or refused.

Invariant: nothing is raised; what goes out is whole replies and nothing else, each as its status line says,
by codes that the house has, in no byte that is a control; the bytes cut in another way give the same; WHY and
logs never show a LOGIN; and the words of a request typed again are the same words.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial
from types import MappingProxyType
from typing import Final

from adapters.errors import BrokenOff, FarBusy, HeadraceError, NotARequest, WrongWords
from gateway.catalogue.model import Catalogue, GatewaySettings, Place, ReservedPort
from gateway.session.conversation import Session
from gateway.session.state import World
from gateway.session.visitors import NOBODY
from gateway.session.wishes import (
    Accepted,
    Called,
    CallerWish,
    CallWish,
    CounterWish,
    Granted,
    Heard,
    Hearing,
    HearWish,
    LoginWish,
    SayWish,
    SourceWish,
    Waiting,
    Wish,
)
from gateway.wire.lines import Cancel, Data, Line, LineReader, Pause
from gateway.wire.settings import Settings
from gateway.wire.words import join_words, parse_request, split_words
from tests.fuzz.inputs import behind, case_scripts, literals, parted, pieces
from tests.fuzz.talk import Said, check_said
from tests.gateway.session import conftest
from tests.gateway.session.files import far
from tests.gateway.session.streams.test_hearing import Wait
from tests.gateway.session.streams.test_talking import Line as Call

_PLACES: Final = far.PLACES | {
    "BBS": Place("BBS", "tcp://bbs.example:6400"),
    "BINARY": Place("BINARY", "tcp://bbs.example:6401", raw=True),
}
_CATALOGUE: Final = Catalogue(
    gateway=GatewaySettings(urls=("open.example",)),
    places=MappingProxyType(_PLACES),
    sources=MappingProxyType(conftest.SOURCES),
    profiles=MappingProxyType(
        conftest.PROFILES | {"SEVEN": Settings(bits=7), "SWAP": Settings(charset="caseswap")}
    ),
    reserved=MappingProxyType({8200: ReservedPort(8200)}),
)
_PROFILES: Final = tuple(_CATALOGUE.profiles)
_DOCUMENTS: Final = {
    far.CLUB + "a.txt": b"one\r\ntwo, a line that is longer than forty columns are wide\n\tthree",
    far.CLUB + "b.bin": bytes(range(256)) * 3,
}
_FAULTS: Final[tuple[Callable[[], HeadraceError] | None, ...]] = (
    None,
    BrokenOff,
    partial(FarBusy, seconds=30),
    HeadraceError,
)


class _Reader(LineReader):
    """Notes where a session lets go of what has not been read: there the way of cutting counts."""

    dropped = False

    def discard(self) -> None:
        self.dropped = True
        super().discard()

    def expect(self, count: int) -> None:
        self.dropped = True
        super().expect(count)


@dataclass
class _World:
    """Far servers that grant every wish, or every third one not."""

    refuses: Callable[[], HeadraceError] | None
    folder: far.Far = field(
        default_factory=lambda: far.Far(
            dict(_DOCUMENTS),
            {far.CLUB: far.entries("a.txt", "b.bin", "Notes/", "r\u00e9sum\u00e9 of it.text")},
        )
    )
    wished: list[str] = field(default_factory=list)

    def grant(self, wish: Wish) -> Granted:
        self.wished.append(type(wish).__name__)
        if self.refuses is not None and len(self.wished) % 3 == 0:
            raise self.refuses()
        match wish:
            case SourceWish():
                return conftest.granted(wish)
            case LoginWish():
                return Accepted(wish.member)
            case CallWish() | CounterWish():
                return Called(Call(), far.FROM)
            case SayWish():
                return Heard(b"heard: " + wish.data, over=b"bye" in wish.data)
            case HearWish():
                return Hearing(Wait())
            case CallerWish():
                return Waiting("192.0.2.9")
        return self.folder.grant(wish)


def _talked(
    parts: Iterable[bytes], profile: str, refuses: Callable[[], HeadraceError] | None
) -> tuple[list[Said], list[str], bool]:
    """What was said, what was wished for, and whether something was dropped unread."""
    world = _World(refuses)
    session = Session(World(lambda: _CATALOGUE, lambda: far.WHEN, timed=False), profile)
    reader = _Reader(session.reader.settings)
    session.resume(reader, NOBODY)
    said: list[Said] = []
    for part in parts:
        reader.feed(part)
        while not session.closing and (event := reader.next_event()) is not None:
            lines = _lines(session, event, world)
            said.append(Said(lines, session.eol, reader.settings, reader.negotiated))
            if isinstance(event, Line):
                _check_shown(session, event)
            if session.talking is not None:
                reader.dropped = True
                ended = list(session.stream_over("the far server hung up"))
                said.append(Said(ended[1:], session.eol, reader.settings, reader.negotiated))
    session.lost()
    session.lost()
    return said, world.wished, reader.dropped


def _lines(session: Session, event: Line | Data | Cancel | Pause, world: _World) -> list[bytes]:
    if isinstance(event, Pause):
        return []
    if isinstance(event, Cancel):
        return list(session.cancelled() or ())
    steps = session.respond(event)
    try:
        wish = next(steps)
        while True:
            try:
                granted = world.grant(wish)
            except HeadraceError as error:
                wish = steps.throw(error)
            else:
                wish = steps.send(granted)
    except StopIteration as stop:
        return list(stop.value or ())


def _check_shown(session: Session, line: Line) -> None:
    shown = session.request_shown
    assert not shown.upper().startswith("LOGIN ") or shown == "LOGIN .."
    text = line.data.decode("latin-1")
    try:
        request = parse_request(text.strip())
    except (NotARequest, WrongWords):
        return
    typed = f"{request.name} {join_words(request.words)}"
    assert parse_request(typed) == request
    assert split_words(join_words(request.words)) == request.words


def check(data: bytes) -> None:
    """See the module's text."""
    options, stream = parted(data, 2)
    profile = _PROFILES[options[0] % len(_PROFILES)]
    refuses = _FAULTS[options[0] // 8 % 4]
    said, wished, dropped = _talked([stream], profile, refuses)
    check_said(said)
    for parts in ([stream[at : at + 1] for at in range(len(stream))], pieces(stream, options[1])):
        others, also_wished, also_dropped = _talked(parts, profile, refuses)
        check_said(others)
        if not (dropped or also_dropped):
            assert wished == also_wished
            assert [each.lines for each in said if each.lines] == [
                each.lines for each in others if each.lines
            ]


def seeds() -> Iterator[bytes]:
    """The requests of the session's tests and of the cases."""
    options = [bytes((number, number * 3)) for number in range(64)]
    requests = [each for each in literals("gateway/session", "gateway/wire/test_words.py") if len(each) > 2]
    together = (b"\r".join(requests[at : at + 5]) + b"\r" for at in range(0, len(requests), 5))
    yield from behind(options, together)
    yield from behind(options, case_scripts())
    for each in (
        b"STORE club:x",
        b"APPEND club:a.txt 5",
        b"LIST club:",
        b"READ club:b.bin",
        b"TALK bbs: lines",
    ):
        yield b"\0\0" + each + b"\r>abc\r>def\r.\rWHY\rAGAIN\rMORE\r"
