"""lines -> replies: one connection's conversation, without I/O.

`Session.respond` is a generator: it yields each Wish, is sent its Outcome (or has a HeadraceError thrown
in) and returns the reply's lines as bytes, or None for a line that gets no reply.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from adapters import limits
from adapters.errors import (
    HeadraceError,
    NotARequest,
    NotPossible,
    NotThere,
    TooLarge,
    WrongMoment,
    WrongWords,
)
from gateway import VERSION
from gateway.session import asking, explaining, helping, telling
from gateway.session.files import acting, listing, reading, storing, texts
from gateway.session.state import Explanation, State, Transfer, World, without_secrets
from gateway.session.steps import Asking, Steps
from gateway.wire.charsets import decode_line
from gateway.wire.lines import EOLS, Data, End, Line, LineReader
from gateway.wire.replies import Reply, encode_lines, error_reply
from gateway.wire.words import REQUESTS, Request, parse_request, request_word, split_words, without_prompt

Lines = Iterator[bytes]
_Plain = Callable[[State, Sequence[str]], Reply]
_Wishing = Callable[[State, Sequence[str]], Steps]

_WISHING: Final[dict[str, _Wishing]] = {
    "ASK": asking.ask,
    "TELL": asking.tell,
    "PICK": asking.pick,
    "LIST": listing.list_folder,
    "TEXT": texts.text,
    "READ": reading.read,
    "STORE": storing.store,
    "APPEND": storing.append,
    "COPY": acting.copy,
    "ERASE": acting.erase,
    "RENAME": acting.rename,
    "MKDIR": acting.make_folder,
}
_PLAIN: Final[dict[str, _Plain]] = {
    "LAYOUT": asking.layout,
    "SOURCES": asking.sources,
    "BASE": listing.base,
    "NAME": listing.name,
    "SET": telling.set_settings,
    "TIME": telling.time,
    "NOOP": telling.noop,
    "HELP": helping.help_words,
    "WHY": explaining.why,
}
_KEEP_CURSOR: Final = frozenset({"MORE", "AGAIN", "WHY", "TIME", "HELP", "NOOP", "SET"})
_STORING: Final = frozenset({"STORE", "APPEND"})
_STORING_WORD: Final = re.compile(rb"(?:\? )?[ \t]*(?:sto|app)", re.IGNORECASE)


def _without_slash(error: HeadraceError) -> NotThere:
    """What is said where a ref led nowhere from a BASE that lacks its slash (RFC 3986 section 5.2.3)."""
    told = NotThere("Not there; BASE ends without a /")
    told.far, told.steps, told.notes = error.far, error.steps, error.notes
    return told


class Session:
    """One connection. The caller feeds `reader`, takes its events and passes each here in turn.

    When the line is gone, however that came about, it calls `lost`.
    """

    def __init__(self, world: World, profile: str) -> None:
        settings = world.catalogue().profiles[profile]
        self._state = State(world, profile, settings)
        self.reader = LineReader(settings)
        self._eol = EOLS["crlf"]
        self.closing = False
        self.status_shown = ""  # the last reply's status line, for the log
        self._choose_eol(None)

    @property
    def request_shown(self) -> str:
        """The last request as a log may show it."""
        explained = self._state.explained
        return explained.request if explained else ""

    @property
    def unfinished(self) -> str:
        """What has come of a transfer whose end has not come, in words; empty where there is none."""
        return "" if self._state.transfer is None else self._state.transfer.undone

    def greeting(self) -> Lines:
        """The 220 that a listener may open with."""
        room = self._state.room
        text = f"HEADRACE 1 {VERSION}"[:room].ljust(room)
        return self._encode(Reply(220, self._state.settings, (text,), room))

    def failed(self, error: HeadraceError, close: bool = False) -> Lines:
        """The reply to what went wrong outside the session, such as 421 and 451. It ends a transfer."""
        self.lost()
        self.closing = self.closing or close
        reply = error_reply(error, self._state.settings, close)
        self._explain(reply, error.sentence)
        return self._encode(reply)

    def cancelled(self) -> Lines | None:
        """CAN came: a transfer ends with 503; what was being typed or sent gets no reply."""
        if self._state.transfer is None:
            return None
        return self.failed(WrongMoment("The transfer was abandoned"))

    def abandoned(self) -> None:
        """CAN came while this request was being worked on: WHY tells it."""
        if self._state.explained is not None:
            self._state.explained.sentence = "Abandoned; a change may have been done"

    def lost(self) -> None:
        """The line is gone: what it was sending is dropped. Harmless at any time."""
        if self._state.transfer is not None:
            self._state.transfer.drop()
            self._end_transfer()

    def respond(self, event: Line | Data) -> Asking[Lines | None]:
        """One line, or data -> the lines of its reply, or None where it gets none.

        Never raises a HeadraceError.
        """
        try:
            reply = yield from self._line(event) if isinstance(event, Line) else self._data(event)
        except HeadraceError as error:
            reply = error_reply(error, self._state.settings)
            if self._state.explained is not None:
                self._explain(reply, error.sentence)
                self._state.explained.fault = error
        if reply is None:
            return None
        self.closing = self.closing or reply.close
        return self._encode(reply)

    def _line(self, line: Line) -> Asking[Reply | None]:
        self._choose_eol(line)
        raw = line.data[2:] if line.data.startswith(b"? ") else line.data
        if line.continued or raw.startswith(b">"):
            yield from self._data_line(line, line.data if line.continued else raw[1:])
            return None
        if not line.overlong and (not raw.strip(b" \t") or raw == b"?"):
            return None  # an empty line, or one that holds only a BASIC's prompt
        if self._state.transfer is None:
            return (yield from self._request(line))
        if line.overlong or raw != b".":
            undone = self.unfinished
            self.lost()
            raise WrongMoment(f"A line lacked its >; {undone}")
        return (yield from self._transferred(self._state.transfer))

    def _data_line(self, line: Line, content: bytes) -> Asking[None]:
        """A data line; outside a transfer it is dropped."""
        transfer = self._state.transfer
        if transfer is None:
            return
        if line.overlong:
            transfer.spoil(TooLarge("The data is too long"))
        yield from transfer.take(content, ends=True)

    def _data(self, event: Data) -> Asking[Reply | None]:
        """Raw bytes, or the beginning of a long data line; outside a transfer they are dropped."""
        transfer = self._state.transfer
        if transfer is None:
            return None
        yield from transfer.take(event.data, ends=False)
        return (yield from self._transferred(transfer)) if transfer.complete else None

    def _transferred(self, transfer: Transfer) -> Steps:
        self._state.explained = Explanation(transfer.request)
        yield from transfer.flush()
        self._end_transfer()
        reply = yield from transfer.deliver()
        self._explain(reply)
        return reply

    def _request(self, line: Line) -> Steps:
        try:
            request = self._parse(line)
        except HeadraceError:
            if self.reader.waiting and _STORING_WORD.match(line.data):
                self.reader.discard()  # what waits may be the data of a line that could not even be read
            raise
        self._state.loose = False
        try:
            reply = yield from self._dispatch(request)
        except HeadraceError as error:
            if request.name in _STORING:
                self._drop_pipelined(request.words)
            if error.code == NotThere.code and self._state.loose:
                raise _without_slash(error) from error
            raise
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

    def _parse(self, line: Line) -> Request:
        """The request; notes it for WHY, and lets go of the cursor where the contract says so."""
        before, self._state.explained = self._state.explained, Explanation("")
        if line.overlong:
            raise NotARequest(f"A line holds {limits.LINE_BYTES} bytes at most")
        text = without_prompt(decode_line(line.data, self._state.settings.charset)).strip()
        first = split_words(text)[0] if text[:1] in {"'", '"'} else text.partition(" ")[0]
        self._state.explained = Explanation(f"{first} ..")
        name = request_word(first).name
        if name not in _KEEP_CURSOR:
            self._state.cursor = None
        self._state.explained = Explanation("LOGIN" if name == "LOGIN" else without_secrets(text))
        request = parse_request(text)
        if name == "WHY" and not request.words:
            self._state.explained = before
        return request

    def _dispatch(self, request: Request) -> Steps:
        state, name, words = self._state, request.name, request.words
        if name in _WISHING:
            return (yield from _WISHING[name](state, words))
        if name in _PLAIN:
            return _PLAIN[name](state, words)
        if name == "MORE":
            return (yield from self._more(words))
        if name == "AGAIN":
            return self._again(words)
        if name == "BYE":
            if words:
                raise WrongWords("BYE takes no words")
            return Reply(221, state.settings, close=True)
        assert REQUESTS[name].later
        raise NotPossible(f"{name} comes in a later version")

    def _more(self, words: Sequence[str]) -> Steps:
        if words:
            raise WrongWords("MORE takes no words")
        return self._paged((yield from self._state.more()))

    def _again(self, words: Sequence[str]) -> Reply:
        if len(words) > 1:
            raise WrongWords("Wanted: AGAIN [n]")
        if self._state.cursor is None:
            raise WrongMoment("No page to repeat")
        return self._paged(self._state.cursor.again(words[0] if words else None))

    def _paged(self, reply: Reply) -> Reply:
        """A page of records that were fetched before: WHY still tells where from."""
        if self._state.cursor is not None:
            self._state.account(self._state.cursor.account)
        return reply

    def _after(self, request: Request) -> None:
        if request.name == "SET":
            self.reader.settings = self._state.settings
            self._choose_eol(None)
        if self._state.transfer is not None:
            self._state.transfer.begin(self.reader)

    def _end_transfer(self) -> None:
        self._state.transfer = None
        self.reader.line_limit = limits.LINE_BYTES
        self.reader.data_lines = False

    def _explain(self, reply: Reply, sentence: str = "") -> None:
        if self._state.explained is None:
            self._state.explained = Explanation("")
        self._state.explained.reply, self._state.explained.sentence = reply.status_line, sentence

    def _choose_eol(self, line: Line | None) -> None:
        """The line end of the next reply: as set, or 9Bh for a client that sends it."""
        setting = self._state.settings.eol
        if line is not None:
            self._mirror = line.mirror
            self._nine_b = line.end is End.NINE_B
        if self._nine_b and not self._state.eol_typed and self._state.settings.bits == 8:
            setting = "9b"
        elif setting == "mirror":
            setting = self._mirror
        self._eol = EOLS[setting]

    _mirror = "crlf"
    _nine_b = False

    def _encode(self, reply: Reply) -> Lines:
        self.status_shown = reply.status_line
        telnet = self._state.settings.telnet
        escape = telnet == "on" or (telnet == "auto" and self.reader.negotiated)
        return encode_lines(reply, self._eol, escape)
