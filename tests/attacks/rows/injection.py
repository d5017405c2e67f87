"""Words that want to be more than words, in what the gateway sends."""

from collections.abc import Callable

from tests.attacks.attack import Attack
from tests.attacks.ground import Ground

_CONTROL = "501 A ref holds no control characters"
_CRLF = "CWE-93; CWE-113; OWASP Injection Prevention"
_OK = {"v": "ok"}


def _seen(path: str, request: str, *, body: bool = False, field: str = "") -> Callable[[Ground], str]:
    """The reply, and what the far server got: its target, a body or one field."""

    def run(ground: Ground) -> str:
        if ground.far._routes.get(path) is None:
            ground.far.on(path).json(_OK)
        before = len(ground.far.requests)
        said = ground.ask(request)
        got = ground.far.requests[before:]
        if not got:
            return f"{said}; nothing sent"
        shown = [
            each.body.decode("latin-1") if body else (each.header(field) or "") if field else each.target
            for each in got
        ]
        return f"{said}; {' '.join(shown)}"

    return run


def _item(name: str, typed: str, reply: str, source: str = _CRLF) -> Attack:
    run = _seen("/item", f"ASK item {typed}")
    return Attack(name, "an arg in a path", source, f"`ASK item {typed}`", reply, run, served=True)


ARGS = (
    _item("CR LF in an arg", "a%0d%0aX-Evil:%20yes", "501 NAME holds a control character; nothing sent"),
    _item("LF in an arg", "a%0aX-Evil:%20yes", "501 NAME holds a control character; nothing sent"),
    _item("NUL in an arg", "a%00b", "501 NAME holds a control character; nothing sent", "CWE-158"),
    _item("TAB in an arg", "a%09b", "501 NAME holds a control character; nothing sent"),
    _item("NEL in an arg", "a%c2%85b", "501 NAME holds a control character; nothing sent"),
    _item(
        "a line separator in an arg",
        "a%e2%80%a8b",
        "501 NAME holds a control character; nothing sent",
        "CWE-93; Unicode, UAX 14",
    ),
    _item("CR LF encoded twice", "a%250d%250ab", "550 Not there; /item/a%250d%250ab"),
    _item(
        "no UTF-8 in an arg",
        "a%c0%8ab",
        "501 NAME holds a control character; nothing sent",
        "CWE-176; RFC 3629 section 3",
    ),
    _item(
        "dots in an arg",
        "../../admin",
        "501 Dots may not lead elsewhere; nothing sent",
        "CWE-22; RFC 6570 section 3.2.2",
    ),
    _item(
        "dots alone in an arg",
        "..",
        "501 Dots may not lead elsewhere; nothing sent",
        "CWE-22; RFC 3986 section 5.2.4",
    ),
    _item(
        "dots encoded twice",
        "%252e%252e%252fadmin",
        "550 Not there; /item/%252e%252e%252fadmin",
        "CWE-22; CWE-174",
    ),
    _item(
        "a query in an arg",
        "a?admin=1",
        "550 Not there; /item/a%3Fadmin%3D1",
        "CWE-88; RFC 6570 section 3.2.2",
    ),
    _item("a fragment in an arg", "a#b", "550 Not there; /item/a%23b", "CWE-88; RFC 6570 section 3.2.2"),
    _item(
        "another template in an arg",
        "{name}{+word}",
        "550 Not there; /item/%7Bname%7D%7B%2Bword%7D",
        "CWE-1336; RFC 6570",
    ),
    _item(
        "a URL as an arg", "http://127.0.0.1/", "550 Not there; /item/http%3A%2F%2F127.0.0.1%2F", "CWE-918"
    ),
    Attack(
        "a query split",
        "an arg in a query",
        "CWE-235; RFC 6570 section 3.2.8",
        "`ASK find a&admin=1;b=2`",
        "200 ok; /find?word=a%26admin%3D1%3Bb%3D2",
        _seen("/find", "ASK find a&admin=1;b=2"),
        served=True,
    ),
    Attack(
        "a query split, encoded",
        "an arg in a query",
        "CWE-235; RFC 6570 section 3.2.8",
        "`ASK find a%26admin=1`",
        "200 ok; /find?word=a%26admin%3D1",
        _seen("/find", "ASK find a%26admin=1"),
        served=True,
    ),
    Attack(
        "a query and a request line",
        "an arg in a query",
        _CRLF,
        '`ASK find "a HTTP/1.1"`',
        "200 ok; /find?word=a%20HTTP%2F1.1",
        _seen("/find", 'ASK find "a HTTP/1.1"'),
        served=True,
    ),
    Attack(
        "no number",
        "a checked arg",
        "CWE-20",
        "`ASK number 1%20or%201=1`",
        "501 N is a whole number; nothing sent",
        _seen("/number", "ASK number 1%20or%201=1"),
        served=True,
    ),
    Attack(
        "CR LF in a header field",
        "an arg in a header field",
        _CRLF,
        "`ASK head a%0d%0aX-Evil:%20yes`",
        "501 WORD holds a control character; nothing sent",
        _seen("/head", "ASK head a%0d%0aX-Evil:%20yes", field="X-Word"),
        served=True,
    ),
    Attack(
        "beyond ASCII in a header field",
        "an arg in a header field",
        "RFC 9110 section 5.5",
        "`ASK head %e5%98%8a%e5%98%8d`",
        "501 A header takes plain ASCII only; nothing sent",
        _seen("/head", "ASK head %e5%98%8a%e5%98%8d", field="X-Word"),
        served=True,
    ),
    Attack(
        "out of a JSON text",
        "an arg in a JSON body",
        "CWE-74; RFC 8259 section 7",
        r"""`TELL sendjson 'x","admin":true,"y":"\'`""",
        '200 ok; {"name":"x\\",\\"admin\\":true,\\"y\\":\\"\\\\",'
        '"note":"by x\\",\\"admin\\":true,\\"y\\":\\"\\\\"}',
        _seen("/json", """TELL sendjson 'x","admin":true,"y":"\\'""", body=True),
        served=True,
    ),
    Attack(
        "CR LF in a JSON text",
        "an arg in a JSON body",
        "CWE-74; RFC 8259 section 7",
        "`TELL sendjson a%0d%0ab`",
        "501 WORD holds a control character; nothing sent",
        _seen("/json", "TELL sendjson a%0d%0ab", body=True),
        served=True,
    ),
    Attack(
        "a form split",
        "an arg in a form",
        "CWE-88; WHATWG URL (form encoding)",
        "`TELL sendform x&admin=1`",
        "200 ok; name=x%26admin%3D1",
        _seen("/form", "TELL sendform x&admin=1", body=True),
        served=True,
    ),
    Attack(
        "out of an XML text",
        "an arg in an XML body",
        "CWE-91; XML 1.0 section 2.4",
        "`TELL sendxml </name><admin/>]]>&xxe;`",
        "200 ok; <a><name>&lt;/name&gt;&lt;admin/&gt;]]&gt;&amp;xxe;</name></a>",
        _seen("/xml", "TELL sendxml </name><admin/>]]>&xxe;", body=True),
        served=True,
    ),
    Attack(
        "a character that XML has not",
        "an arg in an XML body",
        "CWE-91; XML 1.0 section 2.2",
        "`TELL sendxml a%01b`",
        "501 WORD holds a control character; nothing sent",
        _seen("/xml", "TELL sendxml a%01b", body=True),
        served=True,
    ),
)


def _told_ftp(request: str, about: bytes) -> Callable[[Ground], str]:
    """The reply, and the commands that the FTP server got about that name."""

    def run(ground: Ground) -> str:
        said = ground.ask(request)
        told = [each.decode("latin-1") for each in ground.ftp.told if about in each]
        return f"{said}; {', '.join(told) or 'nothing sent'}"

    return run


def _bytes(data: bytes, count: int = 1) -> Callable[[Ground], str]:
    def run(ground: Ground) -> str:
        with ground.line() as line:
            line.put(data)
            return "; ".join(line.reply() for _ in range(count))

    return run


REFS = (
    Attack(
        "CR LF in a ref",
        "an HTTP request line",
        _CRLF,
        "`READ far:a%0d%0aHost:%20evil`",
        f"{_CONTROL}; nothing sent",
        _seen("/a", "READ far:a%0d%0aHost:%20evil"),
        served=True,
    ),
    Attack(
        "NUL in a ref",
        "an HTTP request line",
        "CWE-158",
        "`READ far:a%00.txt`",
        f"{_CONTROL}; nothing sent",
        _seen("/a", "READ far:a%00.txt"),
        served=True,
    ),
    Attack(
        "a blank in a ref",
        "an HTTP request line",
        "RFC 9112 section 3",
        '`READ "far:a HTTP/1.0"`',
        "550 Not there; /a%20HTTP/1.0",
        _seen("/a%20HTTP", 'READ "far:a HTTP/1.0"'),
        served=True,
    ),
    Attack(
        "CR LF in a query of a ref",
        "an HTTP request line",
        _CRLF,
        "`READ far:a?b%0d%0ac`",
        "200 7B2276223A20226F6B227D; /a?b%0d%0ac",
        _seen("/a", "READ far:a?b%0d%0ac"),
        served=True,
    ),
    Attack(
        "CR LF in an FTP name",
        "FTP commands",
        "CWE-93; RFC 959 section 5.3.1",
        "`READ files:a%0d%0aDELE%20b`",
        f"{_CONTROL}; nothing sent",
        _told_ftp("READ files:a%0d%0aDELE%20b", b"DELE"),
        served=True,
    ),
    Attack(
        "Telnet codes in an FTP name",
        "FTP commands",
        "RFC 959 section 5.3; RFC 854",
        "`READ files:a%ff%f4b`",
        "553 Not a name that FTP can carry; nothing sent",
        _told_ftp("READ files:a%ff%f4b", b"\xf4b"),
        served=True,
    ),
    Attack(
        "options in an FTP name",
        "FTP commands",
        "CWE-88",
        "`LIST files:-laR/`",
        "550 Not there; CWD /pub/-laR, MLST ./-laR",
        _told_ftp("LIST files:-laR/", b"laR"),
        served=True,
    ),
    Attack(
        "CR LF in a Destination",
        "WebDAV header fields",
        "CWE-113; RFC 4918 section 10.3",
        "`RENAME cloud:a cloud:b%0d%0aX:y`",
        f"{_CONTROL}; nothing sent",
        _seen("/dav/a", "RENAME cloud:a cloud:b%0d%0aX:y"),
        served=True,
    ),
    Attack(
        "a request in a request",
        "requests",
        "CWE-93; CONTRACT section 1",
        "a NUL, a TAB and an ESC in `NOOP`",
        "200 ab; 500 Control characters are not a request",
        _bytes(b"NOOP\x00\tab\r\nNOOP \x1b[2J\r\n", 2),
        served=True,
    ),
    Attack(
        "a NEL as a line end",
        "requests",
        "CWE-93; Unicode, UAX 14",
        "`NOOP a`, 85h, `NOOP b`",
        "500 Byte 85 hex is not in the charset",
        _bytes(b"NOOP a\x85NOOP b\r\n"),
        served=True,
    ),
    Attack(
        "a request behind the longest line",
        "requests",
        "CWE-444; CONTRACT section 1",
        "300 letters and `SOURCES`",
        "500 A line holds 255 bytes at most",
        _bytes(b"NOOP " + b"x" * 300 + b" SOURCES\r\n"),
        served=True,
    ),
    Attack(
        "numbers beyond all",
        "requests",
        "CWE-190; CWE-400",
        "huge, negative and odd numbers in READ, AGAIN, MORE, NAME, PICK, SET",
        "501 No document is as long as that; 501 Wanted: READ ref [offset [n]] or ref Bn; "
        "501 Wanted: READ ref [offset [n]] or ref Bn; 501 No document is as long as that; "
        "503 No page to repeat; 503 No LIST or TEXT came before; 501 Field 1: a width is 1 to 255; "
        "501 16-255 for cols; 501 0-10000 for gap",
        lambda ground: ground.ask(
            "READ far:small.json 99999999999999999999",
            "READ far:small.json -1",
            "READ far:small.json 0 1e9",
            "READ far:small.json B99999999999999999999",
            "AGAIN 99999999999",
            "NAME #99999999999",
            "PICK far:small.json - $.v:999",
            "SET cols=99999",
            "SET gap=-1",
        ),
        served=True,
    ),
)

INJECTION = (*ARGS, *REFS)
