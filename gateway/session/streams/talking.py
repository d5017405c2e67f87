"""TALK ref [lines] -> a stream out: raw, or a reply for each line (CONTRACT section 3, TALK)."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Protocol

from adapters import limits
from adapters.errors import HeadraceError, NotPossible, WrongMoment
from gateway.catalogue.calling.targets import Ref
from gateway.catalogue.model import STREAMS, LineEnd, Place
from gateway.extract.plan import Record
from gateway.session.files.refs import typed_ref, wanted
from gateway.session.state import State
from gateway.session.steps import Steps, granted
from gateway.session.wishes import Called, CallWish, CounterWish, FarCall, Heard, SayWish
from gateway.streams.far_lines import FarLines
from gateway.streams.to_client import RawToClient, ToClient, Translation
from gateway.streams.to_far import ToFar
from gateway.wire.lines import EOLS
from gateway.wire.replies import Reply

_TYPED: Final = Place("", "")  # what holds for a URL that a client typed
_COUNTER: Final = Place("", "", raw=True)  # and for a counter, which makes its own line ends


class StreamText(Protocol):
    """How a stream's text is coded, and how its lines end: a Place, or a ReservedPort."""

    @property
    def raw(self) -> bool:
        """Whether nothing is made of its bytes."""
        ...

    @property
    def charset(self) -> str:
        """Python's name of the charset."""
        ...

    @property
    def lines(self) -> LineEnd | None:
        """What ends its lines, None for what is usual."""
        ...


def talk(state: State, words: Sequence[str]) -> Steps:
    """TALK ref [lines]: 200, and the stream is open."""
    if not words or len(words) > 2 or (len(words) == 2 and words[1].lower() != "lines"):
        raise wanted("TALK ref [lines]", len(words) > 1)
    ref = typed_ref(state, words[0])
    by_lines = len(words) == 2
    if ref.url.partition(":")[0] not in STREAMS:
        return (yield from _counter(state, ref, by_lines))
    place = ref.place or _TYPED
    if place.raw and not by_lines and state.settings.flow == "xon":
        raise WrongMoment("flow=xon takes no raw bytes")
    called = yield from granted(CallWish(ref, state.settings.cols), Called)
    state.talk = OpenTalk(state, called, place, by_lines)
    state.account(called.provenance)
    return Reply(200, state.settings)


def _counter(state: State, ref: Ref, by_lines: bool) -> Steps:
    """TALK to a folder of a place with documents: to its counter."""
    if ref.place is not None and ref.is_folder and by_lines:
        raise NotPossible("Not by lines there; TALK without lines")
    if ref.place is None or not ref.is_folder:
        raise NotPossible("No stream there; TEXT or READ it")
    settings = replace(state.settings, eol=state.eol)
    called = yield from granted(CounterWish(ref, settings, state.check), Called)
    state.talk = OpenTalk(state, called, _COUNTER, by_lines)
    state.account(called.provenance)
    return Reply(200, state.settings)


class OpenTalk:
    """A stream that is open. `by_lines`: the client asks for what has come, with a line for each reply."""

    def __init__(self, state: State, called: Called, form: StreamText, by_lines: bool) -> None:
        self.call: FarCall = called.call
        self.by_lines = by_lines
        self.raw = form.raw
        self.request = state.request_shown
        self._state = state
        self._called = called
        self._form = form
        self._letters = state.world.catalogue().gateway.letters
        self._lines = FarLines(state.settings, form.charset, self._letters)
        self._over = False

    # The raw form

    def to_client(self, eol: bytes) -> Translation:
        """What makes the far server's bytes the client's, whose lines end in `eol`."""
        settings = self._state.settings
        if self.raw:
            return RawToClient(settings)
        return ToClient(settings, eol or EOLS["crlf"], self._form.charset, self._letters)

    def to_far(self) -> ToFar | None:
        """What makes the client's text the far server's; None where nothing is made of it."""
        return None if self.raw else ToFar(self._state.settings, self._far_end, self._form.charset)

    @property
    def _far_end(self) -> bytes:
        """What ends a line that is sent; a message of its own ends by itself, and is parted at a LF."""
        if self.call.datagrams:
            return b"\n"
        return (self._form.lines or LineEnd.CRLF).data

    # By lines

    def say(self, text: str | None) -> Steps:
        """A line to be sent, or None to ask only: the far text so far, and 226 with the last of it."""
        data = b""
        if text is not None:
            data = text.encode(self._form.charset, "replace")
            data += b"" if self.call.datagrams else self._far_end
        if not self._over and (data or text is not None or self._lines.waiting < limits.STREAM_TEXT):
            try:
                heard = yield from granted(SayWish(self.call, data), Heard)
            except HeadraceError:
                self.end(("ENDED", "the line broke"))
                raise
            self._lines.feed(heard.data)
            if heard.over:
                self._over = True
                self._lines.finish()
        return self._told()

    def _told(self) -> Reply:
        settings, state = self._state.settings, self._state
        records = self._lines.take(state.room, settings.page or limits.PAGE_RECORDS)
        more = self._lines.waiting > 0
        over = self._over and not more
        state.cursor = None
        reply = Reply(200, settings)
        if records:
            reply = state.paged([Record(each) for each in records], state.room)  # AGAIN is for these
        if over:
            self.end(("ENDED", "by the far end"))
        else:
            self._account()
        return replace(reply, code=226 if over else 200, more=more)

    def leave(self) -> Reply:
        """The client leaves: the call is over."""
        self.end(("ENDED", "by you"))
        return Reply(226, self._state.settings)

    # The end

    def end(self, *more: tuple[str, str]) -> None:
        """The stream is over; `more` are facts about it for WHY."""
        self._account(*more)
        self.call.drop()
        self._state.talk = None

    def _account(self, *more: tuple[str, str]) -> None:
        self._state.account(self._called.provenance, [*self.call.facts(), *more])


def refuse(talk: OpenTalk) -> HeadraceError:
    """What is said of a line that is none for a stream: it ends it, as one ends a STORE."""
    talk.end(("ENDED", "a line lacked its >"))
    return WrongMoment("A line lacked its >; the call is over")
