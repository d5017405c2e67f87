"""Call -> target, header section and body of a request (RFC 9110, RFC 9112 section 3).

Everything is checked before a byte is sent: what could split a request (CR, LF, NUL) never reaches a line.
"""

import base64
import re
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Final
from urllib.parse import quote, unquote_plus

import httpcore

from adapters.errors import HeadraceError, NotPossible, WrongWords
from adapters.files import Upload
from adapters.http.redirects import Hop
from adapters.http.urls import parsed_url, url_origin
from adapters.port import Call, CredentialKind, Credentials

_NO_HEADER: Final = "A header that cannot be sent"
_NO_SECRET: Final = "A secret that cannot be sent"  # noqa: S105 - a sentence

_TOKEN: Final = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+", re.ASCII)  # RFC 9110 section 5.6.2
_NO_VALUE: Final = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")  # RFC 9110 section 5.5; TAB may stand

_OURS: Final = frozenset(
    {
        "connection",
        "content-length",
        "expect",
        "host",
        "keep-alive",
        "proxy-authorization",
        "proxy-connection",
        "te",
        "trailer",
        "transfer-encoding",
        "upgrade",
    }
)
"""Fields about the connection and the framing, which only the adapter itself may write."""

Fields = tuple[tuple[str, str], ...]
"""Names and values of header fields."""

_NO_METHODS: Final = frozenset({"CONNECT", "TRACE"})  # a tunnel, an echo of credentials: no documents


@cache
def user_agent() -> str:
    """Who is asking (RFC 9110 section 10.1.5)."""
    try:
        product = f"headrace/{version('headrace')}"
    except PackageNotFoundError:  # run from a checkout
        product = "headrace"
    return f"{product} (plain-text gateway for small machines)"


def first_hop(call: Call) -> Hop:
    """The request that a call begins with. WrongWords, NotPossible, HeadraceError; nothing is sent."""
    if _TOKEN.fullmatch(call.method) is None:
        raise WrongWords("Not a method")
    if call.method.upper() in _NO_METHODS:
        raise NotPossible(f"{call.method.upper()} is not possible")
    _own_fields(call)
    return Hop(url=parsed_url(call.url), method=call.method, body=call.body, personal=True)


def request_url(call: Call, hop: Hop) -> httpcore.URL:
    """Where the request goes, as httpcore takes it."""
    scheme, host, _ = url_origin(hop.url)
    return httpcore.URL(
        scheme=scheme.encode("ascii"),
        host=host.encode("ascii"),
        port=hop.url.port,
        target=request_target(call, hop),
    )


def request_target(call: Call, hop: Hop) -> bytes:
    """Path and query. A key in the query is added here, so that no URL elsewhere holds it."""
    credentials = call.credentials
    if not hop.personal or credentials is None or credentials.kind is not CredentialKind.QUERY:
        return hop.url.raw_path
    path, _, query = hop.url.raw_path.decode("ascii").partition("?")
    pairs = [pair for pair in query.split("&") if pair]
    others = [pair for pair in pairs if unquote_plus(pair.partition("=")[0]) != credentials.name]
    key = f"{quote(credentials.name, safe='')}={quote(credentials.secret, safe='')}"
    return f"{path}?{'&'.join([*others, key])}".encode("ascii")


def request_fields(
    call: Call, hop: Hop, cookies: str, coding: str = "gzip", always: Fields = ()
) -> list[tuple[bytes, bytes]]:
    """The header section. The call's own fields and credentials only where the hop is `personal`; `always`
    goes anywhere. `coding` is what Accept-Encoding says.
    """
    fields: dict[str, tuple[bytes, bytes]] = {}

    def put(name: str, value: str) -> None:
        fields[name.lower()] = name.encode("ascii"), value.encode("utf-8")

    fields["host"] = b"Host", hop.url.netloc
    put("User-Agent", user_agent())
    put("Accept", call.accept or "*/*")
    put("Accept-Encoding", coding)
    for name, value in always:
        put(name, value)
    if hop.body is not None and call.media_type:
        put("Content-Type", call.media_type)
    if hop.method in ("GET", "HEAD"):  # RFC 9110 section 13.1; as the server sent them, byte for byte
        if call.validators.etag is not None:
            fields["if-none-match"] = b"If-None-Match", call.validators.etag.encode("latin-1")
        if call.validators.last_modified is not None:
            fields["if-modified-since"] = (
                b"If-Modified-Since",
                call.validators.last_modified.encode("latin-1"),
            )
    if hop.personal:
        for name, value in _own_fields(call):
            put(name, value)
    if cookies:  # in one field with the call's own (RFC 6265 section 5.4)
        own = [fields["cookie"][1]] if "cookie" in fields else []
        fields["cookie"] = b"Cookie", b"; ".join([*own, cookies.encode("latin-1")])
    for name, value in _framing(hop):
        put(name, value)
    if call.changes:
        put("Connection", "close")  # RFC 9112 section 9.6: a connection for this request alone
    return list(fields.values())


def _framing(hop: Hop) -> Fields:
    """How the far server knows where the body ends."""
    if isinstance(hop.body, Upload):
        if hop.body.size is None:
            return (("Transfer-Encoding", "chunked"),)  # RFC 9112 section 7.1
        return (("Content-Length", str(hop.body.size)),)
    if hop.body is not None or hop.method in ("POST", "PUT", "PATCH"):  # RFC 9110 section 8.6
        return (("Content-Length", str(len(hop.body or b""))),)
    return ()


def _own_fields(call: Call) -> list[tuple[str, str]]:
    """The call's fields, with Accept and validators, and its credentials', checked."""
    _checked_value(call.accept + call.media_type, WrongWords(_NO_HEADER))
    for name, value in call.headers:
        if _TOKEN.fullmatch(name) is None or name.lower() in _OURS:
            raise WrongWords(_NO_HEADER)
        _checked_value(value, WrongWords(_NO_HEADER))
    own = list(call.headers)
    if call.credentials is not None and call.credentials.kind is not CredentialKind.QUERY:
        own.append(_credential_field(call.credentials))
    elif call.credentials is not None:
        _checked_value(call.credentials.secret, HeadraceError(_NO_SECRET))
    return own


def _credential_field(credentials: Credentials) -> tuple[str, str]:
    if credentials.kind is CredentialKind.BASIC:
        if ":" in credentials.name:  # RFC 7617 section 2
            raise HeadraceError("A user name cannot hold a colon")
        pair = f"{credentials.name}:{credentials.secret}"
        _checked_value(pair, HeadraceError(_NO_SECRET))
        return "Authorization", "Basic " + base64.b64encode(pair.encode("utf-8")).decode("ascii")
    _checked_value(credentials.secret, HeadraceError(_NO_SECRET))
    if credentials.kind is CredentialKind.BEARER:
        return "Authorization", f"Bearer {credentials.secret}"
    if _TOKEN.fullmatch(credentials.name) is None or credentials.name.lower() in _OURS:
        raise HeadraceError(_NO_HEADER)
    return credentials.name, credentials.secret


def _checked_value(value: str, fault: HeadraceError) -> None:
    """Raise `fault` where a field's value could not be sent as it is (RFC 9110 section 5.5)."""
    try:
        value.encode("utf-8")
    except UnicodeEncodeError as error:  # half a surrogate pair
        raise fault from error
    if _NO_VALUE.search(value) is not None:
        raise fault
