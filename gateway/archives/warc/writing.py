"""Exchanges -> a WARC 1.1 file (ISO 28500:2017), which general tools read.

    warcinfo                        the file
    request, response, metadata     an exchange over HTTP
    request, metadata               one that failed
    resource, metadata              a document read over another protocol
    metadata, metadata              a document written over another protocol, or a failure to
    metadata                        a listing, any other change, any other failure

Bodies are written as they are kept: expanded, with their own Content-Length, so that digests are of what is
there. One that is not whole has the length that was announced, or none, and WARC-Truncated. The last metadata
record holds the recording's own TOML text, in which a body is named by its record's id, so that what this
gateway reads back is what it wrote. Two files of one site are the same, byte for byte.
"""

import string
import uuid
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from http import HTTPStatus
from io import BytesIO
from typing import Any, BinaryIO, Final
from urllib.parse import quote, urlsplit

from warcio.statusandheaders import StatusAndHeaders
from warcio.warcwriter import WARCWriter

from adapters.recorded.drafts import content_of
from adapters.recorded.exchange import FILE_METHODS, Asked, Content, Exchange, Message
from adapters.recorded.tree.bodies import is_text, reply_type
from adapters.recorded.tree.toml_text import Files, written
from gateway import VERSION
from gateway.archives.warc.index import TOML

_URL: Final = ":/?#[]@!$&'()*+,;=%"  # RFC 3986 section 2.2; what is unreserved always stays
_BYTES: Final = "application/octet-stream"
_REQUEST: Final = "application/http; msgtype=request"
_RESPONSE: Final = "application/http; msgtype=response"


@dataclass(frozen=True, slots=True)
class Counts:
    """`unread` of the `exchanges` are listings, changes and failures: other tools get no answer from them."""

    exchanges: int
    unread: int


class _Head(StatusAndHeaders):  # type: ignore[misc]
    """As bytes in Latin-1, as it was; warcio would make %-escapes of every other byte."""

    def compute_headers_buffer(self, header_filter: Any = None) -> None:
        """What warcio writes."""
        self.headers_buff = f"{self.to_str(header_filter)}\r\n".encode("latin-1", "backslashreplace")


def write_warc(exchanges: Iterable[Exchange], file: BinaryIO, *, squeezed: bool) -> Counts:
    """Write all of them to `file`. `squeezed`: each record as a gzip member of its own. OSError."""
    archive = _Archive(file, squeezed=squeezed)
    for exchange in exchanges:
        archive.add(exchange)
    archive.end()
    return Counts(archive.exchanges, archive.unread)


class _Archive:
    def __init__(self, file: BinaryIO, *, squeezed: bool) -> None:
        self._writer = WARCWriter(file, gzip=squeezed, warc_version="1.1")
        self.exchanges = self.unread = 0
        self._begun = False

    def add(self, exchange: Exchange) -> None:
        """An exchange, as records that name each other."""
        self._begin(exchange.at)
        self.exchanges += 1
        asked, reply = exchange.asked, exchange.reply
        ids = {name: self._id(exchange, name) for name in ("request", "reply", "metadata")}
        body, content = asked.body, content_of(reply)
        files = Files(
            asked=ids["request"] if body is not None and not is_text(body) else "",
            text=body.read().decode("utf-8") if body is not None and is_text(body) else None,
            reply=ids["reply"] if content is not None else "",
        )
        self.unread += not isinstance(reply, Message) and content is None
        beside: str | None = None
        if isinstance(reply, Message):
            beside = ids["reply"]
            self._asked(exchange, ids["request"], beside)
            self._answer(exchange, reply, beside)
        elif asked.method not in FILE_METHODS:
            beside = ids["request"]
            self._asked(exchange, beside, None)
        elif content is not None:
            beside = ids["reply"]
            self._record(exchange, "resource", beside, content, reply_type(exchange) or _BYTES)
        elif body is not None and files.asked:
            beside = ids["request"]
            self._record(exchange, "metadata", beside, body, _BYTES)
        text = Content(written(exchange, files).encode())
        self._record(exchange, "metadata", ids["metadata"], text, TOML, concurrent=beside)

    def end(self) -> None:
        """The file is whole; one without exchanges says at least what it is."""
        self._begin(datetime.fromtimestamp(0, UTC))

    def _begin(self, at: datetime) -> None:
        if self._begun:
            return
        self._begun = True
        info = {
            "software": f"headrace/{VERSION}",
            "format": "WARC File Format 1.1",
            "conformsTo": "http://iipc.github.io/warc-specifications/specifications/warc-format/warc-1.1/",
        }
        record = self._writer.create_warcinfo_record(None, info)
        record.rec_headers.replace_header("WARC-Date", _date(at))
        record.rec_headers.replace_header("WARC-Record-ID", _urn("warcinfo", _date(at)))
        self._writer.write_record(record)

    def _id(self, exchange: Exchange, name: str) -> str:
        return _urn(str(self.exchanges), name, _date(exchange.at), exchange.asked.method, exchange.asked.url)

    def _asked(self, exchange: Exchange, name: str, answer: str | None) -> None:
        asked = exchange.asked
        line = f"{asked.method} {_target(asked.url)} HTTP/1.1"
        host = quote(urlsplit(asked.url).netloc, safe=string.punctuation)
        head = _Head(line, _sized([("Host", host), *asked.headers], asked), is_http_request=True)
        self._record(
            exchange, "request", name, asked.body or Content(), _REQUEST, http=head, concurrent=answer
        )

    def _answer(self, exchange: Exchange, reply: Message, name: str) -> None:
        content = reply.content or Content()
        length = reply.length
        if reply.content is not None and (length is None or length <= content.size):
            length = None if reply.failure is not None else content.size
        headers = [*reply.headers, *([("Content-Length", str(length))] if length is not None else [])]
        head = _Head(f"{reply.status} {_phrase(reply.status)}", headers, protocol="HTTP/1.1")
        cut = "" if reply.length is None or reply.content is None else "length"
        cut = cut if reply.failure is None else "disconnect"
        self._record(exchange, "response", name, content, _RESPONSE, http=head, cut=cut)

    def _record(
        self,
        exchange: Exchange,
        kind: str,
        name: str,
        content: Content,
        media_type: str,
        *,
        http: StatusAndHeaders | None = None,
        concurrent: str | None = None,
        cut: str = "",
    ) -> None:
        headers = {"WARC-Record-ID": name, "WARC-Date": _date(exchange.at), "Content-Type": media_type}
        if concurrent is not None:
            headers["WARC-Concurrent-To"] = concurrent
        if cut:
            headers["WARC-Truncated"] = cut
        with ExitStack() as stack:
            payload = stack.enter_context(content.opened()) if content.size else BytesIO()
            record = self._writer.create_warc_record(
                quote(exchange.asked.url, safe=_URL),
                kind,
                payload=payload,
                length=content.size,
                warc_content_type=media_type,
                warc_headers_dict=headers,
                http_headers=http,
            )
            self._writer.write_record(record)


def _urn(*parts: str) -> str:
    return f"<urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, chr(0).join(('headrace', *parts)))}>"


def _date(at: datetime) -> str:
    return f"{at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='milliseconds')}Z"


def _target(url: str) -> str:
    """The request target (RFC 9112 section 3.2.1), which is ASCII."""
    parts = urlsplit(url)
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return quote(target, safe=string.punctuation)


def _sized(headers: list[tuple[str, str]], asked: Asked) -> list[tuple[str, str]]:
    return headers if asked.body is None else [*headers, ("Content-Length", str(asked.body.size))]


def _phrase(status: int) -> str:
    try:
        return HTTPStatus(status).phrase
    except ValueError:
        return "Unknown"
