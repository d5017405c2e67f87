"""Answers whose bytes do not keep to the protocol."""

from itertools import chain, repeat

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
    request: str = "PICK raw:{path} - $.v",
) -> Attack:
    """These bytes are the answer, and then the connection is closed."""
    path = "raw-" + "".join(each if each.isalnum() else "-" for each in name.lower())

    def run(ground: Ground) -> str:
        ground.raw.says(f"/{path} ", *pieces)
        return ground.ask(request.replace("{path}", path))

    return Attack(name, target, source, does, reply, run, served=served, waits=waits, together=together)


def _endless(
    name: str,
    source: str,
    does: str,
    reply: str,
    start: bytes,
    piece: bytes,
    *,
    served: bool = False,
    request: str = "PICK raw:{path} - $.v",
) -> Attack:
    """`piece` again and again, until the gateway hangs up; the far server notes how much it could send."""
    path = "raw-" + "".join(each if each.isalnum() else "-" for each in name.lower())

    def run(ground: Ground) -> str:
        for end in (" ", "/ "):
            ground.raw.on(f"/{path}{end}", lambda _: chain([start], repeat(piece, (64 << 20) // len(piece))))
        before = ground.raw.sent
        said = ground.ask(request.replace("{path}", path))
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
    _raw(
        "another part",
        "RFC 9110 section 15.3.7",
        "206 with bytes 500 to 509 where 5 to 14 were asked for",
        "551 Not what was asked for",
        b"HTTP/1.1 206 Partial Content\r\nContent-Range: bytes 500-509/1000\r\nContent-Length: 10\r\n\r\n"
        b"0123456789",
        request="READ raw:{path} 5 10",
    ),
    _raw(
        "a part nobody asked for",
        "RFC 9110 section 15.3.7",
        "206 in answer to a whole document",
        "551 Not what was asked for",
        b"HTTP/1.1 206 Partial Content\r\nContent-Range: bytes 0-12/99\r\n" + _LENGTH + b"\r\n" + _BODY,
    ),
    _endless(
        "an endless body by READ",
        "CWE-400",
        "ten bytes of a body without end",
        "200 78787878787878787878",
        _OK + b"\r\n",
        b"x" * 65_536,
        request="READ raw:{path} 0 10",
        served=True,
    ),
    _endless(
        "an endless body by TEXT",
        "CWE-400",
        "a text without end",
        "552 The document is too large to show",
        _OK + b"Content-Type: text/plain\r\n\r\n",
        b"x" * 65_536,
        request="TEXT raw:{path}",
        served=True,
    ),
    _endless(
        "an endless listing",
        "CWE-400; RFC 4918 section 9.1",
        "a multistatus without end",
        "200 1 F                      x (L)",
        b'HTTP/1.1 207 Multi-Status\r\nContent-Type: application/xml\r\n\r\n<d:multistatus xmlns:d="DAV:">',
        b"<d:response><d:href>/dav/raw-an-endless-listing/x</d:href><d:propstat><d:prop/></d:propstat></d:response>"
        * 400,
        request="LIST rawcloud:{path}",
    ),
    _endless(
        "an endless name in a listing",
        "CWE-400; RFC 4918 section 9.1",
        "an href without end",
        "552 The far server's answer is too large",
        b"HTTP/1.1 207 Multi-Status\r\nContent-Type: application/xml\r\n\r\n"
        b'<d:multistatus xmlns:d="DAV:"><d:response><d:href>',
        b"x" * 65_536,
        request="LIST rawcloud:{path}",
    ),
)
