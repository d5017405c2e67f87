"""Exchanges -> a WARC 1.1 file (ISO 28500:2017), which general tools read.

    warcinfo                        the file
    request, response, metadata     an exchange over HTTP
    resource, metadata              a document read over another protocol
    request or resource, metadata   anything else that has a body
    metadata                        a listing, a failure, a change

Bodies are written as they are kept: expanded, with their own Content-Length. The metadata record holds the
recording's own TOML text, in which a body is named by its record's id, so that what this gateway reads back
is what it wrote. Two files of one site are the same, byte for byte.
"""

import string
import uuid
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from datetime import UTC, datetime
from http import HTTPStatus
from io import BytesIO
from typing import BinaryIO
from urllib.parse import quote, urlsplit

from warcio.statusandheaders import StatusAndHeaders
from warcio.warcwriter import WARCWriter

from adapters.recorded.drafts import content_of
from adapters.recorded.exchange import Asked, Content, Exchange, Message
from adapters.recorded.tree.bodies import is_text, reply_type
from adapters.recorded.tree.toml_text import Files, written
from gateway import VERSION
from gateway.archives.warc.index import TOML


def write_warc(exchanges: Iterable[Exchange], file: BinaryIO, *, squeezed: bool) -> int:
    """Write all of them to `file`; how many. `squeezed`: each record as a gzip member of its own."""
    archive = _Archive(file, squeezed=squeezed)
    for exchange in exchanges:
        archive.add(exchange)
    archive.end()
    return archive.exchanges


class _Archive:
    def __init__(self, file: BinaryIO, *, squeezed: bool) -> None:
        self._writer = WARCWriter(file, gzip=squeezed, warc_version="1.1")
        self.exchanges = 0
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
        if isinstance(reply, Message):
            self._http(exchange, reply, ids)
        else:
            for name, part in (("request", body if files.asked else None), ("reply", content)):
                if part is not None:
                    kind = reply_type(exchange) if name == "reply" else ""
                    self._record(exchange, "resource", ids[name], part, kind or "application/octet-stream")
        text = Content(written(exchange, files).encode())
        beside = ids["reply"] if isinstance(reply, Message) else files.reply or files.asked or None
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

    def _http(self, exchange: Exchange, reply: Message, ids: Mapping[str, str]) -> None:
        asked = exchange.asked
        body = asked.body or Content()
        self._record(
            exchange,
            "request",
            ids["request"],
            body,
            "application/http; msgtype=request",
            http=StatusAndHeaders(
                f"{asked.method} {_target(asked.url)} HTTP/1.1",
                _sized([("Host", urlsplit(asked.url).netloc), *asked.headers], asked),
                is_http_request=True,
            ),
            concurrent=ids["reply"],
        )
        content = reply.content or Content()
        length = reply.length if reply.content is None else content.size
        headers = [*reply.headers, *([("Content-Length", str(length))] if length is not None else [])]
        self._record(
            exchange,
            "response",
            ids["reply"],
            content,
            "application/http; msgtype=response",
            http=StatusAndHeaders(f"{reply.status} {_phrase(reply.status)}", headers, protocol="HTTP/1.1"),
            cut="disconnect" if reply.failure is not None else "length" if reply.length is not None else "",
        )

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
        if cut and content.size:
            headers["WARC-Truncated"] = cut
        with ExitStack() as stack:
            payload = stack.enter_context(content.opened()) if content.size else BytesIO()
            record = self._writer.create_warc_record(
                exchange.asked.url,
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
