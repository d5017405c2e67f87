"""Requests -> replies, over a line to a gateway under test: a client program's side, from plain functions."""

import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Final, TypeVar

from adapters import limits
from adapters.errors import HeadraceError
from gateway.catalogue.model import Catalogue
from gateway.serial.framing import Framing, Number
from gateway.serial.machine import Machine
from gateway.serial.reply import line_end_bytes
from gateway.serial.way import Link, Noise
from gateway.testing.clients.line import Line, NothingCame
from gateway.testing.clients.replies import STATUS_COLUMNS, Reply, Unmet, reply_of, shown
from gateway.testing.clients.serial import SerialLine
from gateway.testing.gateways import Gateway
from gateway.wire.charsets import encode_text
from gateway.wire.checks import digits
from gateway.wire.lines import EOLS
from gateway.wire.settings import CHECK_WIDTHS, Settings, change
from gateway.wire.words import Request, parse_request

__tracebackhide__ = True  # pytest then shows the test's own line where something did not come

_AT_ONCE: Final = "pace=0 gap=0"
_OWN_END: Final = b"\r\n"  # of the client's lines, where settings name none
_LOG_LINES: Final = 5  # shown with what did not come
_Taken = TypeVar("_Taken")


class Client:
    """A line to one of a gateway's listeners. `settings` are what the session has: SET by `ask` or `send`
    changes them. `greeting` is the listener's, if it gives one.

    Lines are sent in the charset, and with the end, of the settings so far: read the reply to a SET that
    changes them before anything else is sent.

    With a simulated line, replies come as fast as the computer has them and are then put through the
    simulation, which keeps `pace` and `gap` in its own time: the gateway is told 0 for both. The greeting,
    and what is SET before the first `ask`, do not go through it; a greeting has its listener's real pace.
    """

    def __init__(
        self, gateway: Gateway, listener: int, profile: str, serial: SerialLine | None, timeout: float
    ) -> None:
        if not 1 <= listener <= len(gateway.bound):
            raise ValueError(f"there is no listener {listener}; the catalogue has {len(gateway.bound)}")
        self.timeout = timeout
        self._gateway, self._listener, self._profile, self._serial = gateway, listener, profile, serial
        self._dial()

    def _dial(self) -> None:
        bound, catalogue = self._gateway.bound[self._listener - 1], self._gateway.catalogue
        door = catalogue.listeners[self._listener - 1]
        self.settings = catalogue.profiles[door.profile_for(bound.host)]
        self.greeting: Reply | None = None
        self._echoes = 0
        self._end = b""  # of the lines of the reply that is being read
        self._asked: deque[str] = deque()
        self._line = Line(bound.host, bound.port, self.timeout)
        try:
            if door.greeting:
                self.greeting = self._reply(self.timeout)[1]
            if self._serial is not None and (self.settings.pace or self.settings.gap):
                wanted = self.settings
                self._set(_AT_ONCE)
                self.settings = wanted
            if self._profile:
                self._set(self._profile)
        except BaseException:
            self.close()
            raise

    def _set(self, words: str) -> None:
        self.send(f"SET {words}")
        _, reply = self._reply(self.timeout)
        if reply.status != 200:
            raise Unmet(f"SET {words} was answered {reply.text}: {' '.join(reply.records)}")

    # Requests and replies

    def ask(self, request: str, lines: Iterable[str] | None = None, *, timeout: float | None = None) -> Reply:
        """The reply to one request. `lines` are sent after a 350, as data lines with their end, and the reply
        is the one after that. Unmet where none comes in time, or it is no reply.
        """
        self.send(request)
        reply = self.reply(timeout=timeout)
        if reply.status != 350 or lines is None:
            return reply
        self.put(b"".join(self._encoded(line) for line in (*(f">{each}" for each in lines), ".")))
        return self.reply(timeout=timeout)

    def send(self, request: str) -> None:
        """A request and a line end; `reply` reads what comes of it. Several may be sent before."""
        parsed = _parsed(request)
        self._asked.append(request)
        if self._serial is not None and parsed is not None and parsed.name == "SET" and parsed.words:
            request = f"{request} {_AT_ONCE}"
        self.put(self._encoded(request))

    def put(self, data: bytes) -> None:
        """Bytes as they stand. Unmet where the line is gone."""
        if self.settings.echo:
            if not line_end_bytes(self.settings):
                raise ValueError("echo cannot be told from a reply where lines have no end (eol=none)")
            self._echoes += data.count(self._own_end)
        try:
            self._line.send(data, self.timeout)
        except OSError as error:
            raise Unmet(f"could not send {data!r}: {error.strerror or 'it is not taken'}") from error

    def reply(self, *, timeout: float | None = None) -> Reply:
        """The next reply, whole; with a window it is acknowledged as it comes. Unmet as for `ask`."""
        lines, reply = self._reply(timeout)
        return reply if self._serial is None else self._serial.heard(lines, self.settings)

    def _reply(self, timeout: float | None) -> tuple[list[bytes], Reply]:
        asked = self._asked.popleft() if self._asked else ""
        about = f"the reply to {asked!r}" if asked else "a reply"
        return self._in_time(lambda deadline: self._whole(asked, deadline), about, timeout)

    def _whole(self, asked: str, deadline: float) -> tuple[list[bytes], Reply]:
        """A reply's lines as sent, and what they say."""
        self._skip_echoes(deadline)
        request, own_end = _parsed(asked), self._own_end
        start = self._line.take(STATUS_COLUMNS, deadline)
        status = self._status(start, request)
        self._end = self._end_after(request, own_end)
        if status is None:
            raise Unmet(self._told(f"no status line in answer to {asked!r}, but {start!r}"))
        lines, settings = [start + self._rest_of_line(start, deadline)], self.settings
        if settings.bytes == "raw" and status.done and request is not None and request.name == "READ":
            lines.append(self._line.take(status.count, deadline))
            records = [shown(lines[-1], settings)] if status.count else []
            return lines, _with_records(status, records)
        records = []
        for number in range(1, status.count + 1):
            if settings.window and number % settings.window == 0:
                self.put(self._own_end)
                self._skip_echoes(deadline)
            text = self._line.take(status.width - CHECK_WIDTHS[settings.check], deadline)
            lines.append(text + self._rest_of_line(text, deadline))
            records.append(shown(text, settings))
        return lines, _with_records(status, records)

    def _skip_echoes(self, deadline: float) -> None:
        while self._echoes:
            self._line.take_until(line_end_bytes(self.settings), deadline)
            self._echoes -= 1

    def _end_after(self, request: Request | None, own_end: bytes) -> bytes:
        """A request that ended in 9Bh is answered in 9Bh, until eol is set: CONTRACT section 2."""
        set_words = request.words if request is not None and request.name == "SET" else ("eol=",)
        if own_end == EOLS["9b"] and not any(word.lower().startswith("eol=") for word in set_words):
            return own_end
        return line_end_bytes(self.settings)

    def _status(self, start: bytes, request: Request | None) -> Reply | None:
        """The status line, which follows already what its request set."""
        if request is not None and request.name == "SET" and request.words:
            adopted = _adopted(self.settings, request.words, self._gateway.catalogue)
            reply = None if adopted is None else reply_of(shown(start, adopted))
            if adopted is not None and reply is not None and reply.status == 200:
                self.settings = adopted
                return reply
        return reply_of(shown(start, self.settings))

    def _rest_of_line(self, text: bytes, deadline: float) -> bytes:
        """Check digits and line end. Unmet where they are not those of `text`."""
        settings = self.settings
        checked = b""
        if settings.check != "none":
            checked = encode_text(digits(text, settings.check), settings.printed)
        due = checked + self._end
        rest = self._line.take(len(due), deadline)
        if rest != due:
            raise Unmet(self._told(f"{text!r} is followed by {rest!r} instead of {due!r}"))
        return rest

    @property
    def _own_end(self) -> bytes:
        return line_end_bytes(self.settings) or _OWN_END

    def _encoded(self, text: str) -> bytes:
        return encode_text(text, self.settings.printed) + self._own_end

    # Bytes, as they came: no simulated line has touched them

    def read(self, count: int, *, timeout: float | None = None) -> bytes:
        """The next `count` bytes. Unmet where they do not come."""
        return self._in_time(lambda deadline: self._line.take(count, deadline), f"{count} bytes", timeout)

    def read_line(self, *, timeout: float | None = None) -> str:
        """The next line without its end. Unmet where none comes."""
        end = self._own_end
        data = self._in_time(lambda deadline: self._line.take_until(end, deadline), "a line", timeout)
        return shown(data, self.settings)

    def quiet(self, seconds: float = 0.05) -> bool:
        """Whether nothing comes for that long, and nothing came that was not read."""
        return not self._line.ended(time.monotonic() + seconds) and not self._line.pending

    def hung_up(self, *, timeout: float | None = None) -> bool:
        """Whether the gateway hangs up in time."""
        return self._line.ended(time.monotonic() + (self.timeout if timeout is None else timeout))

    # The line itself

    def finish(self) -> None:
        """Send no more (TCP's FIN), and go on reading."""
        self._line.finish()

    def close(self) -> None:
        """Hang up; again has no effect."""
        self._line.close()

    def reset(self) -> None:
        """Cut the line (TCP's RST)."""
        self._line.reset()

    def redial(self) -> None:
        """Hang up, and call the same listener on a new line, with the settings that it began with."""
        self.close()
        self._dial()

    def _in_time(self, take: Callable[[float], _Taken], what: str, timeout: float | None) -> _Taken:
        seconds = self.timeout if timeout is None else timeout
        try:
            return take(time.monotonic() + seconds)
        except NothingCame as outcome:
            raise Unmet(self._told(f"{what} did not come within {seconds:g} s: {outcome}")) from None

    def _told(self, what: str) -> str:
        """With what came and what the gateway logged, for whoever reads a test's failure."""
        parts = [what]
        if self._line.pending:
            parts.append(f"what came is {bytes(self._line.pending)!r}")
        if log := self._gateway.log[-_LOG_LINES:]:
            parts.append("the gateway's log ends:\n  " + "\n  ".join(log))
        return "; ".join(parts)


def _with_records(status: Reply, records: list[str]) -> Reply:
    return Reply(status.status, status.count, status.text, tuple(records))


def _parsed(line: str) -> Request | None:
    try:
        return parse_request(line) if line.strip(" ") else None
    except HeadraceError:
        return None


def _adopted(settings: Settings, words: tuple[str, ...], catalogue: Catalogue) -> Settings | None:
    """What SET with these words makes of the settings; None where it is refused."""
    first, *others = words
    if "=" not in first:
        profile = catalogue.profiles.get(first.upper())
        if profile is None:
            return None
        settings, words = profile, tuple(others)
    pairs = [(key, value) for key, _, value in (word.partition("=") for word in words)]
    try:
        return change(settings, pairs, catalogue.tables)
    except HeadraceError:
        return None


class Clients:
    """Opens lines to gateways, any number at once."""

    def __init__(self) -> None:
        self._made: list[Client] = []

    def __call__(
        self,
        gateway: Gateway,
        profile: str = "",
        *,
        listener: int = 1,
        bits_per_second: Number | None = None,
        machine: Machine | None = None,
        framing: Framing | None = None,
        link: Link | None = None,
        noise: Noise | None = None,
        timeout: float = limits.TESTING_REPLY_SECONDS,
    ) -> Client:
        """A client of that listener. `profile` is what SET takes: "buffer-128 guard=on"; empty: as it is.

        `bits_per_second` (8N1), or a `framing` with its own, simulates a serial line with `machine` at its
        end, for a polled UART of one byte that loses nothing unless told otherwise; `link` and `noise` too.
        `timeout` is for each reply, in seconds. Unmet: SET is refused. OSError: nobody answers.
        """
        if bits_per_second is not None and framing is not None:
            raise ValueError("a framing has its own bits a second")
        if bits_per_second is not None:
            framing = Framing(bits_per_second)
        if framing is None and any(each is not None for each in (machine, link, noise)):
            raise ValueError("a machine, link or noise wants a line: bits_per_second=9600")
        serial = None
        if framing is not None:
            serial = SerialLine(framing, machine or Machine(), link or Link(), noise or Noise())
        client = Client(gateway, listener, profile, serial, timeout)
        self._made.append(client)
        return client

    def close(self) -> None:
        """Hang up everywhere."""
        while self._made:
            self._made.pop().close()
