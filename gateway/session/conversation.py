"""lines -> replies: one connection's conversation, without I/O.

`Session.respond` is a generator: it yields each Wish, is sent its Outcome (or has a HeadraceError thrown
in) and returns the reply's lines as bytes, or None for a line that gets no reply.
"""

import itertools
import re
from collections.abc import Sequence
from typing import Final

from adapters import limits
from adapters.errors import (
    HeadraceError,
    NotARequest,
    NotThere,
    TooLarge,
    WrongMoment,
    WrongWords,
)
from gateway import VERSION
from gateway.session.access import guarded
from gateway.session.checking import LineChecks
from gateway.session.dispatch import PLAIN, WISHING
from gateway.session.files import storing
from gateway.session.files.refs import without_slash
from gateway.session.outgoing import Outgoing
from gateway.session.requests import read_request
from gateway.session.state import Asker, Explanation, Fault, State, Transfer, World
from gateway.session.steps import Asking, Steps
from gateway.session.streams.hearing import OpenHearing
from gateway.session.streams.talking import OpenTalk, refuse
from gateway.session.visitors import NOBODY, Visitor
from gateway.session.windows import Window
from gateway.session.wishes import Called
from gateway.wire.charsets import decode_line
from gateway.wire.lines import Data, Line, LineReader
from gateway.wire.replies import Lines, Reply, error_reply
from gateway.wire.words import Request

_CALLING: Final = frozenset({"TALK", "HEAR"})
_FREE: Final = frozenset({"BYE", "LOGIN"})  # of charge: guessing is slowed down in another way
_STORING: Final = frozenset({"STORE", "APPEND"})
_WHILE_TALKING: Final = frozenset({"AGAIN", "HALT", "WHY"})
_GARBLED: Final = "A line came garbled; send it all again"
_STORING_WORD: Final = re.compile(rb"(?:\? )?[ \t]*(?:sto|app)", re.IGNORECASE)


def _without_prompt(line: bytes) -> bytes:
    return line[2:] if line.startswith(b"? ") else line


class Session:
    """One connection. The caller feeds `reader`, takes its events and passes each here in turn.

    When the line is gone, however that came about, it calls `lost`.
    """

    def __init__(self, world: World, profile: str, visitor: Visitor = NOBODY) -> None:
        settings = world.catalogue().profiles[profile]
        self._state = State(world, profile, settings, visitor)
        self.reader = LineReader(settings)
        self._outgoing = Outgoing(self._state, self.reader)
        self._checks = LineChecks()
        self._untold: Explanation | None = None  # what a lost line may not have been told of
        self.closing = False

    def sent(self, now: bool) -> None:
        """Whether a reply is being sent: then nothing of it is forgotten for want of memory."""
        self._outgoing.sent = now

    @property
    def request_shown(self) -> str:
        """The last request as a log may show it."""
        return "WHY" if self._state.explains else self._state.request_shown

    @property
    def status_shown(self) -> str:
        """The last reply's status line, for the log."""
        return self._outgoing.status_shown

    @property
    def who(self) -> Asker:
        """Who is asking."""
        return self._state

    @property
    def unfinished(self) -> str:
        """What has come of a transfer whose end has not come, in words; empty where there is none."""
        return "" if self._state.transfer is None else self._state.transfer.undone

    def greeting(self) -> Lines:
        """The 220 that a listener may open with."""
        room = self._state.room
        text = f"HEADRACE 1 {VERSION}"[:room].ljust(room)
        return self._outgoing.lines(Reply(220, self._state.settings, (text,), room))

    def failed(self, error: HeadraceError, close: bool = False) -> Lines:
        """The reply to what went wrong outside the session, such as 421 and 451. It ends a transfer."""
        self.lost()
        if not close:  # else a lost line may still take it up
            self._outgoing.window = None
        self.closing = self.closing or close
        reply = error_reply(error, self._state.settings, close)
        self._explain(reply, error.sentence)
        return self._outgoing.lines(reply)

    def cancelled(self) -> Lines | None:
        """CAN came: a transfer ends with 503; what was being typed, sent or waited for gets no reply."""
        self._outgoing.window = None
        if self._state.hearing is not None:
            return self.failed(WrongMoment("Nobody called; you hear no longer"))
        if self._state.transfer is None:
            return None
        return self.failed(WrongMoment("The transfer was abandoned"))

    def abandoned(self) -> None:
        """CAN came while this request was being worked on: WHY tells it."""
        assert self._state.explained is not None  # it is, from a request's first word on
        self._state.explained.sentence = "Abandoned; a change may have been done"

    def lost(self) -> None:
        """The line is gone: what it was sending is dropped. Harmless at any time."""
        if self._state.transfer is not None:
            self._state.transfer.drop()
            self._end_transfer()
        if self._state.talk is not None:
            self._state.talk.end()
        if self._state.hearing is not None:
            self._state.hearing.end()

    def gone(self) -> None:
        """Nobody will go on with it: nothing is kept in memory, however long the rest of it is."""
        self._state.world.memory.gone(self._outgoing)

    @property
    def hearing(self) -> OpenHearing | None:
        """The wait for a call in that goes on."""
        return self._state.hearing

    def answered(self, called: Called) -> Lines:
        """The 200 that ends the wait: somebody has called, and a raw stream is open."""
        hearing = self._state.hearing
        assert hearing is not None
        self._state.explained = Explanation(hearing.request)
        reply = hearing.answered(called)
        self._explain(reply)
        self.reader.discard()  # what was being typed is for nobody
        return self._outgoing.whole(reply)

    @property
    def talking(self) -> OpenTalk | None:
        """The raw stream that is open: the client's bytes are for its far server, not for `reader`."""
        open_talk = self._state.talk
        return None if open_talk is None or open_talk.by_lines else open_talk

    @property
    def eol(self) -> bytes:
        """What ends the client's lines."""
        return self._outgoing.eol

    def stream_over(self, ended: str) -> Lines:
        """What ends a raw stream on the client's side: an end of line, and the 226. `ended`: how, for WHY."""
        if self._state.talk is not None:
            self._state.talk.end(("ENDED", ended))
        reply = Reply(226, self._state.settings)
        self._explain(reply)
        return itertools.chain((self.eol,), self._outgoing.whole(reply))

    @property
    def taken_leave(self) -> bool:
        """Whether the client said BYE: then there is nothing to take up."""
        return self.closing and self.status_shown.startswith("221")

    def resume(self, reader: LineReader, visitor: Visitor) -> None:
        """The client is back on another line, which `reader` reads; the next request is its AGAIN."""
        self._state.visitor = visitor
        reader.settings = self._state.settings
        self.reader = self._outgoing.reader = reader
        self.closing = False
        self._untold = self._state.explained

    def respond(self, event: Line | Data) -> Asking[Lines | None]:
        """One line, or data -> the lines of its reply, or None where it gets none.

        Never raises a HeadraceError.
        """
        waiting, reply = self._outgoing.window, None
        untold, self._untold = self._untold, None
        try:
            steps = self._line(event) if isinstance(event, Line) else self._data(event)
            found = yield from guarded(self._state.check, steps)
        except HeadraceError as error:
            reply = error_reply(error, self._state.settings)
            if isinstance(error, NotARequest):
                self._untold = untold
            if untold is not None and untold.reply and isinstance(error, WrongMoment):
                self._state.explained = untold  # WHY goes on from there
                reply = error_reply(
                    WrongMoment(f"No page; {untold.reply[:3]} was the last reply"), reply.settings
                )
            elif self._state.explained is not None:
                self._explain(reply, error.sentence)
                self._state.explained.fault = Fault(error.far, tuple(error.notes), tuple(error.steps))
            if isinstance(error, NotARequest) or (waiting is not None and waiting is self._outgoing.window):
                return self._outgoing.whole(reply)  # nothing is acknowledged; AGAIN never means it
        else:
            if found is None or isinstance(found, Window):
                return None if found is None else found.lines()
            reply = found
        self.closing = self.closing or reply.close
        return self._outgoing.lines(reply)

    def _line(self, line: Line) -> Asking[Reply | Window | None]:
        self._outgoing.choose_eol(line)
        raw = _without_prompt(line.data)
        if self._state.talk is not None:
            return (yield from self._spoken(self._state.talk, line, raw))
        if self._state.hearing is not None and not self._empty(line, raw):
            self._outgoing.window = None
            self._state.hearing.end()
            raise WrongMoment("Nobody called; you hear no longer")
        if line.continued or raw.startswith(b">"):
            self._outgoing.window = None
            yield from self._data_line(line)
            return None
        if self._empty(line, raw):
            return self._outgoing.acknowledged()  # an empty line, or one that holds only a BASIC's prompt
        if self._state.transfer is None:
            return (yield from self._request(line))
        try:
            line = self._unchecked(line)
        except NotARequest:
            self._state.transfer.spoil(NotARequest(_GARBLED))  # what was lost with it is not known
            raise
        self._outgoing.window = None
        if line.overlong or _without_prompt(line.data) != b".":
            undone = self.unfinished
            self.lost()
            raise WrongMoment(f"A line lacked its >; {undone}")
        return (yield from self._transferred(self._state.transfer))

    @staticmethod
    def _empty(line: Line, raw: bytes) -> bool:
        return not line.overlong and (not raw.strip(b" \t") or raw == b"?")

    def _spoken(self, open_talk: OpenTalk, line: Line, raw: bytes) -> Asking[Reply | Window | None]:
        """A line while a stream is open that is talked on by lines."""
        empty = self._empty(line, raw)
        if empty and self._outgoing.window is not None:
            return self._outgoing.acknowledged()
        if not empty:
            line = self._unchecked(line)
            raw = _without_prompt(line.data)
        if line.overlong:
            raise NotARequest(f"A line holds {limits.LINE_BYTES} bytes at most")
        text = decode_line(raw, self._state.settings.charset)
        word = "" if empty or raw[:1] in {b">", b"."} else text.strip().partition(" ")[0]
        if word[:3].upper() in {each[:3] for each in _WHILE_TALKING}:
            return (yield from self._request(line))
        self._outgoing.window = None
        self._state.explained = Explanation(open_talk.request)
        if empty or raw.startswith(b">"):
            reply = yield from open_talk.say(None if empty else text[1:])
        elif raw == b".":
            reply = open_talk.leave()
        else:
            raise refuse(open_talk)
        self._explain(reply)
        return reply

    def _unchecked(self, line: Line) -> Line:
        return self._checks.without(line, self._state.settings.check)

    def _data_line(self, line: Line) -> Asking[None]:
        """A data line; outside a transfer it is dropped."""
        transfer = self._state.transfer
        if transfer is None:
            return
        if line.overlong:
            self._checks.forget()
            transfer.spoil(TooLarge("The data is too long"))
        elif self._checks.begun:
            try:
                line = self._unchecked(line)
            except NotARequest:
                transfer.spoil(NotARequest(_GARBLED))
        content = line.data if line.continued else _without_prompt(line.data)[1:]
        yield from transfer.take(content, ends=True)

    def _data(self, event: Data) -> Asking[Reply | None]:
        """Raw bytes, or the beginning of a long data line; outside a transfer they are dropped."""
        transfer = self._state.transfer
        if transfer is None:
            return None
        self._outgoing.window = None
        if self._checks.begun and not event.counted:
            self._checks.take(event, self._state.settings.check)
        yield from transfer.take(event.data, ends=False)
        return (yield from self._transferred(transfer)) if transfer.complete else None

    def _transferred(self, transfer: Transfer) -> Steps:
        self._state.explained = Explanation(transfer.request)
        yield from transfer.flush()
        self._end_transfer()
        reply = yield from transfer.deliver()
        self._explain(reply)
        return reply

    def _request(self, line: Line) -> Asking[Reply | Window]:
        try:
            line = self._unchecked(line)
            request = read_request(self._state, line)
        except HeadraceError as error:
            if not isinstance(error, NotARequest):
                self._outgoing.window = None
            if self.reader.waiting and _STORING_WORD.match(line.data):
                self.reader.discard()  # what waits may be the data of a line that could not even be read
            raise
        self._state.loose = False
        if request.name != "AGAIN":
            self._outgoing.window = None
        try:
            reply = yield from self._dispatch(request)
        except HeadraceError as error:
            if request.name in _STORING:
                self._drop_pipelined(request.words)
            if request.name in _CALLING:
                self.reader.discard()  # what waits may be meant for the far server
            if error.code == NotThere.code and self._state.loose:
                raise without_slash(error) from error
            raise
        self._state.world.memory.used(self._outgoing)
        if request.name != "WHY":
            self._explain(reply)
        self._after(request)
        return reply

    def _drop_pipelined(self, words: Sequence[str]) -> None:
        """Raw bytes that a client sent without waiting for 350 are never run as requests.

        A client that did so once is taken to have sent, or to be about to send, all that it announced.
        """
        if len(words) < 2 or not self.reader.waiting:
            return
        count = storing.counted(words)
        if count is None:
            self.reader.discard()
        else:
            self.reader.expect(count)

    def _dispatch(self, request: Request) -> Asking[Reply | Window]:
        state, name, words = self._state, request.name, request.words
        if name not in _FREE:
            state.charge()
        if name in WISHING:
            return (yield from WISHING[name](state, words))
        if name in PLAIN:
            return PLAIN[name](state, words)
        if name == "MORE":
            return (yield from self._more(words))
        if name == "AGAIN":
            return self._outgoing.again(words)
        if name == "HALT":
            return Reply(200, state.settings)
        assert name == "BYE"
        if words:
            raise WrongWords("BYE takes no words")
        return Reply(221, state.settings, close=True)

    def _more(self, words: Sequence[str]) -> Steps:
        if words:
            raise WrongWords("MORE takes no words")
        return self._outgoing.accounted((yield from self._state.more()))

    def _after(self, request: Request) -> None:
        if request.name == "SET":
            if self.reader.settings.check != self._state.settings.check:
                self._checks = LineChecks()
            self.reader.settings = self._state.settings
            self._outgoing.choose_eol()
        if self._state.transfer is not None:
            self._state.transfer.begin(self.reader)
        if request.name == "TALK" and self.talking is not None:
            self.reader.discard()  # what came before the 200 is for nobody

    def _end_transfer(self) -> None:
        self._state.transfer = None
        self.reader.line_limit = limits.LINE_BYTES
        self.reader.data_lines = False
        self._checks.forget()

    def _explain(self, reply: Reply | Window, sentence: str = "") -> None:
        if self._state.explained is None:
            self._state.explained = Explanation("")
        self._state.explained.reply, self._state.explained.sentence = reply.status_line, sentence
