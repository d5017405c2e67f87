"""Answers whose bytes do not keep to the protocol."""

from tests.attacks.attack import Attack
from tests.attacks.ground import Ground

_OK = b"HTTP/1.1 200 OK\r\n"
_BODY = b'{"v": "text"}'
_LENGTH = b"Content-Length: 13\r\n"


def _raw(
    name: str,
    source: str,
    does: str,
    reply: str,
    *pieces: bytes | float,
    target: str = "HTTP answers",
    served: bool = False,
    waits: bool = False,
    together: bool = False,
) -> Attack:
    """These bytes are the answer, and then the connection is closed."""
    path = "raw-" + "".join(each if each.isalnum() else "-" for each in name.lower())

    def run(ground: Ground) -> str:
        ground.raw.says(f"/{path} ", *pieces)
        return ground.ask(f"PICK raw:{path} - $.v")

    return Attack(name, target, source, does, reply, run, served=served, waits=waits, together=together)


def _endless(
    name: str, source: str, does: str, reply: str, start: bytes, piece: bytes, *, served: bool = False
) -> Attack:
    """`piece` again and again, until the gateway hangs up; the far server notes how much it could send."""
    path = "raw-" + "".join(each if each.isalnum() else "-" for each in name.lower())

    def run(ground: Ground) -> str:
        ground.raw.on(f"/{path} ", lambda _: iter([start, *([piece] * (64 * 1024 * 1024 // len(piece)))]))
        before = ground.raw.sent
        said = ground.ask(f"PICK raw:{path} - $.v")
        assert ground.raw.sent - before < 48 << 20, "more was taken than any limit allows"
        return said

    return Attack(name, "HTTP answers", source, does, reply, run, served=served, together=True)


_MESSAGE = "RFC 9112 section 6.3; CWE-444"
_CHUNKED = _OK + b"Transfer-Encoding: chunked\r\n\r\n"
ANSWERS = (
    _raw(
        "a length too long",
        _MESSAGE,
        "Content-Length 1,000, 13 bytes, the end",
        "426 The far server broke off",
        _OK + b"Content-Length: 1000\r\n\r\n" + _BODY,
        served=True,
    ),
    _raw(
        "a length too short",
        _MESSAGE,
        "Content-Length 5 of 13 bytes",
        "551 The JSON document stops too early",
        _OK + b"Content-Length: 5\r\n\r\n" + _BODY,
    ),
    _raw(
        "a length beyond all",
        f"{_MESSAGE}; CWE-789",
        "Content-Length 99,999,999,999",
        "552 The document is too large",
        _OK + b"Content-Length: 99999999999\r\n\r\n" + _BODY,
        served=True,
    ),
    _raw(
        "a length below zero",
        _MESSAGE,
        "Content-Length -1",
        "551 The far server does not speak HTTP",
        _OK + b"Content-Length: -1\r\n\r\n" + _BODY,
    ),
    _raw(
        "a length with a sign",
        _MESSAGE,
        "Content-Length +13",
        "551 The far server does not speak HTTP",
        _OK + b"Content-Length: +13\r\n\r\n" + _BODY,
    ),
    _raw(
        "two lengths",
        _MESSAGE,
        "Content-Length 13 and 5",
        "551 The far server does not speak HTTP",
        _OK + _LENGTH + b"Content-Length: 5\r\n\r\n" + _BODY,
    ),
    _raw(
        "a length and chunks",
        "RFC 9112 section 6.1; CWE-444",
        "Content-Length and Transfer-Encoding",
        "200 text",
        _OK + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\nd\r\n" + _BODY + b"\r\n0\r\n\r\n",
    ),
    _raw(
        "an unknown transfer coding",
        "RFC 9112 section 6.1",
        "`Transfer-Encoding: xchunked`",
        "551 The far server does not speak HTTP",
        _OK + b"Transfer-Encoding: xchunked\r\n\r\n" + _BODY,
    ),
    _raw(
        "a chunk beyond all",
        "RFC 9112 section 7.1; CWE-190",
        "a chunk size of twenty digits",
        "426 The far server broke off",
        _CHUNKED + b"ffffffffffffffffffff\r\n" + _BODY,
    ),
    _raw(
        "a chunk below zero",
        "RFC 9112 section 7.1; CWE-190",
        "a chunk size of -d",
        "426 The far server broke off",
        _CHUNKED + b"-d\r\n" + _BODY + b"\r\n0\r\n\r\n",
    ),
    _raw(
        "chunks without an end",
        "RFC 9112 section 8",
        "a whole chunk, and no last one",
        "426 The far server broke off",
        _CHUNKED + b"d\r\n" + _BODY + b"\r\n",
        served=True,
    ),
    _raw(
        "fields behind the body",
        "RFC 9112 section 7.1.2; CWE-444",
        "a trailer with Location and Content-Type",
        "200 text",
        _CHUNKED + b"d\r\n" + _BODY + b"\r\n0\r\nLocation: /other\r\nContent-Type: text/csv\r\n\r\n",
    ),
    _endless(
        "endless chunks",
        "CWE-400; RFC 9112 section 7.1",
        "chunks of 64 KB without end",
        "552 The document is too large",
        _CHUNKED,
        b"10000\r\n" + b" " * 65_536 + b"\r\n",
        served=True,
    ),
    _endless(
        "an endless body",
        "CWE-400; RFC 9112 section 6.3",
        "a body without a length and without end",
        "552 The document is too large",
        _OK + b"\r\n",
        b" " * 65_536,
    ),
    _endless(
        "endless fields",
        "CWE-400; RFC 9110 section 5.4",
        "header fields without end",
        "552 The far server's answer is too large",
        _OK,
        b"X-Field: " + b"x" * 1_000 + b"\r\n",
        served=True,
    ),
    _endless(
        "a field without end",
        "CWE-400; RFC 9110 section 5.4",
        "one header field without end",
        "552 The far server's answer is too large",
        _OK + b"X-Field: ",
        b"x" * 65_536,
    ),
    _endless(
        "endless interim answers",
        "CWE-400; RFC 9110 section 15.2",
        "`103 Early Hints` without end",
        "552 The far server's answer is too large",
        b"",
        b"HTTP/1.1 103 Early Hints\r\nLink: </x>\r\n\r\n" * 1_000,
    ),
    _endless(
        "an endless chunk extension",
        "CWE-400; RFC 9112 section 7.1.1",
        "a chunk extension without end",
        "552 The far server's answer is too large",
        _CHUNKED + b"d;x=",
        b"x" * 65_536,
    ),
    _endless(
        "endless trailer fields",
        "CWE-400; RFC 9112 section 7.1.2",
        "a trailer without end",
        "552 The far server's answer is too large",
        _CHUNKED + b"d\r\n" + _BODY + b"\r\n0\r\n",
        b"X: " + b"x" * 60_000 + b"\r\n",
    ),
    _raw(
        "no status line",
        "RFC 9112 section 4 (HTTP/0.9)",
        "a body alone",
        "426 The far server broke off",
        _BODY,
    ),
    _raw(
        "another protocol",
        "RFC 9112 section 4; CWE-436",
        "an SMTP greeting",
        "426 The far server broke off",
        b"220 mail.invalid ESMTP\r\n",
    ),
    _raw(
        "a status beyond all",
        "RFC 9110 section 15",
        "`HTTP/1.1 99999 OK`",
        "551 The far server does not speak HTTP",
        b"HTTP/1.1 99999 OK\r\n" + _LENGTH + b"\r\n" + _BODY,
    ),
    _raw(
        "a version of its own",
        "RFC 9112 section 2.3",
        "`HTTP/9.9 200 OK`",
        "551 The far server does not speak HTTP",
        b"HTTP/9.9 200 OK\r\n" + _LENGTH + b"\r\n" + _BODY,
    ),
    _raw(
        "a field name with a blank",
        "RFC 9112 section 5.1; CWE-444",
        "`Content-Length : 13`",
        "551 The far server does not speak HTTP",
        _OK + b"Content-Length : 13\r\n\r\n" + _BODY,
    ),
    _raw(
        "a folded field",
        "RFC 9112 section 5.2",
        "obs-fold in Content-Type",
        "200 text",
        _OK + b"Content-Type: application/json;\r\n charset=utf-8\r\n" + _LENGTH + b"\r\n" + _BODY,
    ),
    _raw(
        "a NUL in a field",
        "RFC 9110 section 5.5; CWE-158",
        "`X: a NUL b`",
        "551 The far server does not speak HTTP",
        _OK + b"X: a\0b\r\n" + _LENGTH + b"\r\n" + _BODY,
    ),
    _raw(
        "a protocol switch",
        "RFC 9110 section 15.2.2",
        "`101 Switching Protocols`",
        "551 The far server does not speak HTTP",
        b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: x\r\nConnection: upgrade\r\n\r\n",
    ),
    _raw(
        "an absurd Retry-After",
        "RFC 9110 section 10.2.3; CWE-190",
        "503 with a `Retry-After` of forty digits: a day is told at most",
        "450 The far server is busy             86400",
        b"HTTP/1.1 503 Busy\r\nRetry-After: " + b"9" * 40 + b"\r\nContent-Length: 0\r\n\r\n",
    ),
    _raw(
        "absurd dates",
        "RFC 9110 section 5.6.7; RFC 9111 section 4.2",
        "Date, Expires, Age and max-age beyond all",
        "200 text",
        _OK
        + b"Date: Fri, 99 Foo 99999 99:99:99 GMT\r\nExpires: 0\r\nAge: -"
        + b"9" * 40
        + b"\r\nCache-Control: max-age="
        + b"9" * 40
        + b"\r\n"
        + _LENGTH
        + b"\r\n"
        + _BODY,
    ),
    _raw(
        "many cookies",
        "CWE-400; RFC 6265 section 6.1",
        "500 cookies",
        "200 text",
        _OK
        + b"".join(b"Set-Cookie: c%d=%s\r\n" % (n, b"x" * 100) for n in range(500))
        + _LENGTH
        + b"\r\n"
        + _BODY,
    ),
)
