"""A HAR 1.2 file, as browsers' developer tools save it -> exchanges.

Bodies in it have every coding taken off; text is written in the charset that the answer names. Entries that
got no answer, that are not over HTTP or whose body was not saved are left out.
"""

import base64
import json
import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from adapters import limits
from adapters.recorded.exchange import Asked, Content, Exchange, Headers
from gateway.archives.messages import Store, asked_url, field, message
from gateway.archives.outcome import ArchiveFault, LeftOut

_WEB: Final = re.compile(r"https?://[^/?#]", re.IGNORECASE)
_METHOD: Final = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")  # RFC 9110 section 5.6.2
_CHARSET: Final = re.compile(r';\s*charset\s*=\s*"?([A-Za-z0-9._:-]+)', re.IGNORECASE)
_TOO_LONG: Final = 1e9  # milliseconds: more than eleven days
_FORM: Final = "application/x-www-form-urlencoded"


class _Odd(Exception):
    """An entry is not as HAR 1.2 has it."""


def read_har(path: Path, store: Store) -> Iterator[Exchange | LeftOut]:
    """Each entry in the order of the file; its bodies are there until the next. ArchiveFault, OSError."""
    if path.stat().st_size > limits.ARCHIVE_HAR_BYTES:
        raise ArchiveFault(f"larger than {limits.ARCHIVE_HAR_BYTES} bytes")
    for entry in _entries(path.read_bytes()):
        try:
            made = _exchange(_table(entry, "an entry"), store)
        except _Odd as odd:
            made = LeftOut(f"not as HAR 1.2 has it: {odd}")
        yield made
        store.drop(made)


def _entries(data: bytes) -> list[Any]:
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ArchiveFault(f"not UTF-8 (byte {error.start + 1})") from error
    except json.JSONDecodeError as error:
        raise ArchiveFault(f"not JSON: line {error.lineno}, column {error.colno}: {error.msg}") from error
    except (RecursionError, ValueError) as error:
        raise ArchiveFault("not HAR: too deep, or a number too long") from error
    log = document.get("log") if isinstance(document, dict) else None
    entries = log.get("entries") if isinstance(log, dict) else None
    if not isinstance(entries, list):
        raise ArchiveFault("not HAR: there is no log with entries")
    return entries


def _exchange(entry: dict[str, Any], store: Store) -> Exchange | LeftOut:
    request, response = (_table(entry.get(key), key) for key in ("request", "response"))
    url, method = asked_url(_text(request, "url")), _text(request, "method")
    if not _WEB.match(url):
        return LeftOut("not over HTTP")
    if not _METHOD.fullmatch(method):
        raise _Odd("the request's method")
    status = response.get("status")
    if not isinstance(status, int) or isinstance(status, bool) or not 100 <= status <= 999:
        return LeftOut("without an answer")
    headers = _headers(response)
    target = response.get("redirectURL")
    if 300 <= status < 400 and isinstance(target, str) and target and field(headers, "location") is None:
        headers = (*headers, ("Location", asked_url(target)))
    content = response.get("content")
    body = _body(content if isinstance(content, dict) else {}, headers, method, status)
    if isinstance(body, LeftOut):
        return body
    reply = message(method.upper(), status, headers, [body] if body else [], store, decoded=True)
    if isinstance(reply, LeftOut):
        return reply
    return Exchange(_asked(method, url, request), reply, _time(entry), _took(entry))


def _asked(method: str, url: str, request: dict[str, Any]) -> Asked:
    headers, posted = _headers(request), request.get("postData")
    body = None
    if isinstance(posted, dict):
        kind = field(headers, "content-type") or str(posted.get("mimeType") or "")
        if not field(headers, "content-type") and kind:
            headers = (*headers, ("Content-Type", kind))
        data = _posted(posted, kind)
        body = Content(data) if data else None
    return Asked(method.upper(), url, headers, body)


def _posted(posted: dict[str, Any], kind: str) -> bytes:
    text = posted.get("text")
    if isinstance(text, str) and text:
        return _encoded(text, kind)
    listed = posted.get("params") or []
    if not isinstance(listed, list):
        raise _Odd("what was posted")
    pairs = [
        (_shown(each.get("name")), _shown(each.get("value"))) for each in listed if isinstance(each, dict)
    ]
    if pairs and not kind.lower().startswith(_FORM):
        raise _Odd("a body of parts without its text")
    return urlencode(pairs, errors="surrogatepass").encode()


def _body(content: dict[str, Any], headers: Headers, method: str, status: int) -> bytes | LeftOut:
    text, size = content.get("text"), content.get("size")
    if not isinstance(text, str):
        bodiless = method.upper() == "HEAD" or status in (204, 205, 304) or 300 <= status < 400
        return b"" if bodiless or size == 0 else LeftOut("whose body was not saved")
    encoding = content.get("encoding")
    if isinstance(encoding, str) and encoding.lower() == "base64":
        try:
            return base64.b64decode("".join(text.split()), validate=True)  # some tools write it in lines
        except ValueError as error:
            raise _Odd("a body that is not base64") from error
    if encoding:
        raise _Odd("a body in an encoding that is not base64")
    return _encoded(text, field(headers, "content-type") or str(content.get("mimeType") or ""))


def _encoded(text: str, media_type: str) -> bytes:
    """In the charset that the media type names, or else in UTF-8."""
    match = _CHARSET.search(media_type)
    try:
        return text.encode("utf-8" if match is None else match[1])
    except (LookupError, UnicodeError):
        return text.encode("utf-8", "surrogatepass")


def _headers(message: dict[str, Any]) -> Headers:
    """Without HTTP/2's pseudo-header fields (RFC 9113 section 8.3), and one line a value."""
    found: list[tuple[str, str]] = []
    listed = message.get("headers")
    for each in listed if isinstance(listed, Sequence) else ():
        if not isinstance(each, dict) or not isinstance(each.get("name"), str):
            raise _Odd("a header without a name")
        if each["name"].startswith(":"):
            continue
        name, values = _latin_1(each["name"]), _shown(each.get("value")).split("\n")
        found += [(name, _latin_1(value.strip(" \t\r"))) for value in values]  # some tools join Set-Cookie
    return tuple(found)


def _shown(value: Any) -> str:
    return "" if value is None else str(value)


def _latin_1(text: str) -> str:
    return (
        text if all(ord(each) < 0x100 for each in text) else text.encode("utf-8", "replace").decode("latin-1")
    )


def _time(entry: dict[str, Any]) -> datetime:
    try:
        moment = datetime.fromisoformat(_text(entry, "startedDateTime"))
    except ValueError as error:
        raise _Odd("startedDateTime") from error
    try:
        moment = moment.astimezone(UTC) if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    except OverflowError as error:  # in the year 0, or 10,000
        raise _Odd("startedDateTime") from error
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)


def _took(entry: dict[str, Any]) -> float:
    """In seconds; 0 where it is not told, or is no time."""
    took = entry.get("time")
    if isinstance(took, bool) or not isinstance(took, int | float) or not 0 <= took < _TOO_LONG:
        return 0.0
    return round(took / 1000, 6)


def _table(value: Any, what: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise _Odd(what)
    return value


def _text(table: dict[str, Any], key: str) -> str:
    value = table.get(key)
    if not isinstance(value, str):
        raise _Odd(key)
    return value
