"""An HTTP response of a general tool -> Message: its codings taken off, its body in a file of its own.

What the gateway would have made of such an answer, when it recorded it itself, comes of it here: a body that
is shorter than announced, or whose gzip is broken, is one that broke off (adapters.recorded.http.recording).
"""

import re
import string
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Final
from urllib.parse import quote

from adapters import limits
from adapters.errors import BrokenOff, HeadraceError
from adapters.http.answer.bodies import Expander
from adapters.recorded.drafts import content_of
from adapters.recorded.exchange import Content, Exchange, Failure, Headers, Message
from adapters.recorded.failures import failure_of
from gateway.archives.outcome import LeftOut

_OF_THE_LINE: Final = frozenset(
    {"connection", "keep-alive", "proxy-connection", "transfer-encoding", "content-length", "trailer"}
)
"""Fields of one connection (RFC 9110 section 7.6.1), and those that the body's size is told by."""
_BODILESS: Final = frozenset({204, 205, 304})  # RFC 9110 section 6.4.1
_GZIP: Final = frozenset({"gzip", "x-gzip"})
_KNOWN: Final = _GZIP | {"deflate", "br"}
_LENGTH: Final = re.compile(r"[0-9]{1,15}")


class TooMuch(Exception):
    """A body over limits.ARCHIVE_BODY_BYTES."""


class Store:
    """Bodies on their way, short ones in memory and long ones in files of the folder at `path`."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def content(self, chunks: Iterable[bytes]) -> Content:
        """A body of its own. TooMuch."""
        held, size, file = bytearray(), 0, None
        with ExitStack() as opened:
            for chunk in chunks:
                size += len(chunk)
                if size > limits.ARCHIVE_BODY_BYTES:
                    raise TooMuch
                held += chunk
                if len(held) > limits.STAGE_BYTES:
                    if file is None:
                        file = opened.enter_context(tempfile.NamedTemporaryFile(dir=self._path, delete=False))
                    file.write(held)
                    held.clear()
            if file is None:
                return Content(bytes(held))
            file.write(held)
        return Content(path=Path(file.name))

    def drop(self, entry: Exchange | LeftOut) -> None:
        """Its bodies are not needed any more."""
        if isinstance(entry, LeftOut):
            return
        for content in (entry.asked.body, content_of(entry.reply)):
            if content is not None and content.path is not None:
                content.path.unlink(missing_ok=True)


def field(headers: Headers, name: str) -> str | None:
    """The first value of a field, its name in lower case."""
    return next((value for each, value in headers if each.lower() == name), None)


def asked_url(text: str) -> str:
    """A URL as the gateway asks for it: without its fragment, in ASCII (RFC 3986 section 2.1)."""
    return quote(text.partition("#")[0].strip(), safe=string.punctuation, errors="surrogatepass")


def message(
    method: str,
    status: int,
    headers: Headers,
    body: Iterable[bytes],
    store: Store,
    *,
    decoded: bool = False,
    cut: bool = False,
    broken: bool = False,
) -> Message | LeftOut:
    """The answer to a request of that method. `body`: what came, chunks of the transfer coding joined.

    `decoded`: its content coding is off already, whatever the headers say. `cut`: the tool did not keep all
    of it, but says how long it was. `broken`: the tool says that it broke off.
    """
    codings = _codings(headers)
    if codings and codings[0] not in _KNOWN and not decoded:
        return LeftOut("in a coding that is not gzip, deflate or br")
    if len(codings) > 1 and not decoded:
        return LeftOut("in several codings")
    announced = field(headers, "content-length") or ""
    length = int(announced) if _LENGTH.fullmatch(announced) else None
    kept = tuple(pair for pair in headers if pair[0].lower() not in _OF_THE_LINE | _dropped(codings))
    if method == "HEAD" or status in _BODILESS or status < 200:
        return Message(status, kept, length=length if method == "HEAD" else None)
    if cut and (codings or length is None) and status < 300:
        return LeftOut("cut short by the tool that kept it")
    raw = _Counted(body)
    gunzip = Expander() if codings and codings[0] in _GZIP and not decoded else None
    reading = _Reading(raw if decoded or not codings else _without(codings[0], raw, gunzip))
    try:
        content = store.content(reading)
    except TooMuch:
        return LeftOut("larger than a recording may be")
    failure = reading.failure
    short = not decoded and length is not None and raw.size < length
    if (broken or (short and not cut)) and failure is None:
        failure = failure_of(BrokenOff(), sent=True)
    if status >= 300:  # nobody needs all of such a page
        short, failure = False, None
    return Message(
        status,
        kept,
        content,
        squeezed=gunzip is not None and gunzip.packed,
        length=length if short else None,
        failure=failure,
    )


def _codings(headers: Headers) -> list[str]:
    values = ",".join(value for name, value in headers if name.lower() == "content-encoding")
    return [each for part in values.split(",") if (each := part.strip().lower()) not in ("", "identity")]


def _dropped(codings: list[str]) -> set[str]:
    return {"content-encoding"} if codings else set()


class _Counted:
    """Chunks, and how many bytes they were."""

    def __init__(self, chunks: Iterable[bytes]) -> None:
        self._chunks = chunks
        self.size = 0

    def __iter__(self) -> Iterator[bytes]:
        for chunk in self._chunks:
            self.size += len(chunk)
            yield chunk


class _Reading:
    """Chunks up to where they break off; `failure` says that they did."""

    def __init__(self, chunks: Iterable[bytes]) -> None:
        self._chunks = chunks
        self.failure: Failure | None = None

    def __iter__(self) -> Iterator[bytes]:
        try:
            yield from self._chunks
        except HeadraceError as fault:
            self.failure = failure_of(fault, sent=True)


def _without(coding: str, raw: Iterable[bytes], gunzip: Expander | None) -> Iterator[bytes]:
    """What came, with that coding off; BrokenOff."""
    if gunzip is not None:
        return _gunzipped(raw, gunzip)
    return _inflated(raw) if coding == "deflate" else _unbrotlied(raw)


def _gunzipped(raw: Iterable[bytes], expander: Expander) -> Iterator[bytes]:
    for chunk in raw:
        yield from expander.feed(chunk)
    yield expander.finish()


def _inflated(raw: Iterable[bytes]) -> Iterator[bytes]:
    """`deflate` as RFC 9110 section 8.4.1.2 has it, and as some servers send it: without zlib's header."""
    chunks = iter(raw)
    head = b""
    for chunk in chunks:
        head += chunk
        if len(head) > 1:
            break
    if not head:
        return
    whole = head[0] & 0x0F == 8 and len(head) > 1 and int.from_bytes(head[:2], "big") % 31 == 0  # RFC 1950
    engine = zlib.decompressobj(zlib.MAX_WBITS if whole else -zlib.MAX_WBITS)
    try:
        for chunk in (head, *chunks):
            data = chunk
            while data:
                yield engine.decompress(data, limits.EXPAND_STEP_BYTES)
                data = engine.unconsumed_tail
        yield engine.flush()
    except zlib.error as error:
        raise BrokenOff("The far server's deflate is broken") from error
    if not engine.eof:
        raise BrokenOff("The far server's deflate is cut short")


def _unbrotlied(raw: Iterable[bytes]) -> Iterator[bytes]:
    """RFC 7932."""
    import brotli  # noqa: PLC0415 - only here is it needed

    engine = brotli.Decompressor()
    try:
        for chunk in raw:
            piece = engine.process(chunk, output_buffer_limit=limits.EXPAND_STEP_BYTES)
            while piece:
                yield piece
                piece = engine.process(b"", output_buffer_limit=limits.EXPAND_STEP_BYTES)
    except brotli.error as error:
        raise BrokenOff("The far server's brotli is broken") from error
    if not engine.is_finished():
        raise BrokenOff("The far server's brotli is cut short")
